"""Whole packs on a real store: a backlog in one pack, odd values, and what a keeper is told of them."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from api.domain.alert import AlertKind, AlertState, Priority
from api.domain.quantity import Quantity
from api.domain.reading import Flag, RawReading
from api.storage.base import StoreUnavailable
from tests.support.rooms import ROOM, TestRoom, room

Q = Quantity
HOUR_MS = 3_600_000


@pytest.fixture
def lab(tmp_path: Path) -> Iterator[TestRoom]:
    """Two tanks."""
    with room(tmp_path) as one:
        yield one


def oxygen(start_ms: int, *values_mg_l: float) -> list[RawReading]:
    """A reading a minute."""
    return [RawReading("p1", Q.OXYGEN, start_ms + n * 60_000, v, "mg/L") for n, v in enumerate(values_mg_l)]


def test_a_backlog_in_one_pack_is_one_alert(lab: TestRoom) -> None:
    """Found late and over again within the same pack: one alert, ended, with its worst value, and nobody woken."""
    low = [4.4] * 10 + [3.4] * 5 + [4.2] * 15
    lab.take(*oxygen(lab.now_ms - 6 * HOUR_MS, *[7.0] * 10, *low, *[7.0] * 20))
    lab.service.deliver.once()
    alerts = lab.service.read.alerts(None)
    assert [(one.found_late, one.state, one.worst) for one in alerts] == [(True, AlertState.NORMAL, 3.4)]
    assert [step.event for step in lab.service.read.alert(alerts[0].id).steps] == ["found_late", "cleared"]
    assert lab.notifier.sent == []


def test_twice_in_one_fresh_pack(lab: TestRoom) -> None:
    """Raised, over and raised again before the pack came: the keeper reads all three, and the alert stands."""
    values = [4.4] * 12 + [7.0] * 14 + [4.4] * 14
    (lab.folder / "room.toml").write_text(
        ROOM.replace("[[tank]]", "[room.service]\nlate_after_s = 7200\n[[tank]]", 1), encoding="utf-8"
    )
    lab.restart()
    lab.take(*oxygen(lab.now_ms - len(values) * 60_000, *values))
    lab.service.deliver.once()
    alerts = lab.service.read.alerts(None)
    steps = [step.event for step in lab.service.read.alert(alerts[0].id).steps]
    assert steps == ["raised", "returned", "raised"]
    assert [one.state for one in alerts] == [AlertState.UNACKNOWLEDGED]
    assert [title for title, _ in lab.notifier.sent] == [
        "t1: low oxygen", "t1: low oxygen is over", "t1: low oxygen",
    ]  # fmt: skip


def test_who_was_warned_is_told_that_it_is_over(tmp_path: Path) -> None:
    """Also an address that wants urgent messages only."""
    with room(tmp_path) as lab:
        text = ROOM.replace('url = "json://127.0.0.1:9/"', 'url = "json://127.0.0.1:9/"\npriority = "urgent"')
        (lab.folder / "room.toml").write_text(text, encoding="utf-8")
        lab.restart()
        value = 7.0
        for _ in range(70):
            value -= 0.04
            lab.minute(value)
        for _ in range(15):
            lab.minute(7.5)
        lab.service.deliver.once()
        titles = [title for title, _ in lab.notifier.sent]
        assert titles == ["URGENT t1: low oxygen", "t1: low oxygen is over"]
        assert lab.service.read.alerts(None)[0].priority is Priority.URGENT


@pytest.mark.parametrize("value", [1e308, -1e308, 1e10])
@pytest.mark.parametrize(("quantity", "unit"), [(Q.NITRATE, "mg/L"), (Q.TEMPERATURE, "Cel"), (Q.OXYGEN, "mL/L")])
def test_enormous_values_are_kept_apart(lab: TestRoom, quantity: Quantity, unit: str, value: float) -> None:
    """Kept raw with FAIL and a reason; sums and series stay numbers, and the pack goes on."""
    for n, v in enumerate((value, -value, value, 5.0)):
        lab.take(*(RawReading("p1", quantity, lab.now_ms - 9000 + n * 1000 + m, v, unit) for m in (0, 1)))
    rows = lab.service.store.readings.recent("p1", quantity, 0, lab.now_ms + 1)
    assert [(v is None, flag == Flag.FAIL) for _, v, flag in rows] == [(True, True)] * 6 + [(False, False)] * 2
    spans = lab.service.store.readings.summaries("p1", quantity, 0, lab.now_ms + 1, 3600, HOUR_MS)
    assert sum(span.count for span in spans) == 2


def test_old_percent_readings_use_the_temperature_of_their_own_time(lab: TestRoom) -> None:
    """A file of last week that comes while the probe is speaking: mg/L from the water as it was then."""
    lab.take(RawReading("p2", Q.TEMPERATURE, lab.now_ms, 86.0, "[degF]"))
    then_ms = lab.now_ms - 168 * HOUR_MS
    lab.take(
        RawReading("p2", Q.TEMPERATURE, then_ms, 68.0, "[degF]"),
        RawReading("p2", Q.OXYGEN_SATURATION, then_ms + 5000, 100.0, "%"),
        RawReading("p2", Q.OXYGEN_SATURATION, lab.now_ms, 100.0, "%"),
    )
    for _ in range(2):  # first the temperatures, then what is derived with them
        lab.now_ms += 5_000
        lab.service.again.look()
    rows = lab.service.store.readings.recent("p2", Q.OXYGEN, 0, lab.now_ms + 1)
    # USGS oxygen solubility table, fresh water, 760 mmHg: 9.09 mg/L at 20 C, 7.56 mg/L at 30 C
    assert [value for _, value, _ in rows] == [pytest.approx(9.09, abs=0.006), pytest.approx(7.56, abs=0.006)]


def test_low_oxygen_is_raised_at_its_tenth_minute(lab: TestRoom) -> None:
    """Below 5 mg/L from minute 1 on: nothing until minute 10, an alert at minute 11."""
    lab.minute(7.0)
    for _ in range(10):
        lab.minute(4.9)
        assert lab.service.read.alerts(None) == ()
    lab.minute(4.9)
    assert [one.kind for one in lab.service.read.alerts(None)] == [AlertKind.LOW_OXYGEN]


def test_water_not_known_after_fifteen_minutes(lab: TestRoom) -> None:
    """Not before; and it ends by itself with the first reading that can be believed."""
    for n in range(16):
        lab.minute(7.0, temperature_c=-127.0)
        assert bool(lab.service.read.alerts(None)) is (n == 15)
    alert = lab.service.read.alerts(None)[0]
    assert (alert.kind, alert.quantity) == (AlertKind.NOT_KNOWN, Q.TEMPERATURE)
    lab.service.records.acknowledge(alert.id, "Keeper", "", lab.now_ms).result()
    lab.minute(7.0)
    assert lab.service.read.alert(alert.id).state is AlertState.NORMAL


def test_found_late_and_still_so_is_told_now(lab: TestRoom) -> None:
    """The backlog wakes nobody; the first fresh reading that shows it does."""
    lab.take(*oxygen(lab.now_ms - 2 * HOUR_MS, *[4.0] * 100))
    lab.service.deliver.once()
    assert lab.notifier.sent == []
    lab.minute(4.0)
    lab.service.deliver.once()
    assert [title for title, _ in lab.notifier.sent] == ["t1: low oxygen"]
    assert [one.found_late for one in lab.service.read.alerts(None)] == [False]


def test_a_pack_that_was_not_kept_leaves_no_memory(lab: TestRoom) -> None:
    """The disk is full: nothing is judged, so the same pack later raises the alert."""
    store = lab.service.store

    def pages(most: int) -> None:
        store.write(lambda: store.reader().execute(f"PRAGMA max_page_count = {most}").fetchall()).result()

    pages(1)
    pack = [RawReading("p1", Q.OXYGEN, lab.now_ms - 800_000 + n * 250, 4.0, "mg/L") for n in range(3200)]
    with pytest.raises(StoreUnavailable, match="could not keep this"):
        lab.take(*pack)
    assert (lab.service.ingest.tracks.all(), lab.service.ingest.newest.all(), store.state.undelivered(9)) == (
        [],
        [],
        [],
    )
    pages(1_000_000)
    assert lab.take(*pack).accepted == 3200
    assert [one.kind for one in lab.service.read.alerts(None)] == [AlertKind.LOW_OXYGEN]


def test_raw_values_are_kept_as_they_came(lab: TestRoom) -> None:
    """Value and unit as the probe said them, beside the canonical value."""
    lab.take(RawReading("p2", Q.TEMPERATURE, lab.now_ms, 78.8, "[degF]"))
    channel = lab.service.store.readings.channels()[0]
    assert (channel.raw, channel.unit) == (78.8, "[degF]")
    assert channel.value == pytest.approx(26.0)
    assert channel.flag is Flag.NOT_EVALUATED  # the newest: a spike shows only by the reading after it
    lab.take(RawReading("p2", Q.TEMPERATURE, lab.now_ms + 60_000, 78.8, "[degF]"))
    assert [flag for _, _, flag in lab.service.store.readings.recent("p2", Q.TEMPERATURE, 0, lab.now_ms + 1)] == [2]
