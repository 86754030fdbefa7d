"""Readings that come after newer ones: kept at once, checked and judged on their own time when the rest has come."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from api.domain.alert import AlertState
from api.domain.quantity import Quantity
from api.domain.reading import Arrival, Flag, RawReading
from dashboard.alerts import alert_view
from dashboard.clock import Clock
from dashboard.units import Units
from tests.support.rooms import TestRoom, room

Q = Quantity
MINUTE_MS = 60_000
HOUR_MS = 3_600_000


@pytest.fixture
def lab(tmp_path: Path) -> Iterator[TestRoom]:
    """Two tanks."""
    with room(tmp_path) as one:
        yield one


def water(start_ms: int, *oxygen_mg_l: float) -> list[RawReading]:
    """p1's temperature and oxygen, a pair a minute; the temperature wanders a little, as water does."""
    out = []
    for n, value in enumerate(oxygen_mg_l):
        time_ms = start_ms + n * MINUTE_MS
        out.append(RawReading("p1", Q.TEMPERATURE, time_ms, 26.0 + (n % 5) * 0.02, "Cel"))
        out.append(RawReading("p1", Q.OXYGEN, time_ms, value + (n % 3) * 0.01, "mg/L"))
    return out


def settle(lab: TestRoom) -> None:
    """Time passes until nothing waits."""
    for _ in range(4):
        lab.now_ms += 5_000
        lab.service.again.look()
    assert lab.service.store.revisions.waiting() == []


def kept(lab: TestRoom, quantity: Quantity, probe: str = "p1") -> list[tuple[int, float | None, Flag, str, Arrival]]:
    """All that is kept of a channel."""
    rows = lab.service.store.revisions.rows(probe, quantity, 0, 2**62)
    return [(row.time_ms, row.value, row.flag, row.reason, row.arrival) for row in rows]


def summaries(lab: TestRoom, quantity: Quantity) -> list[tuple[object, ...]]:
    """All five-minute summaries of p1."""
    found = lab.service.store.readings.summaries("p1", quantity, 0, 2**62, 300, 300_000)
    return [(s.start_ms, s.count, pytest.approx(s.mean), s.low, s.high, s.flagged) for s in found]


def test_the_order_of_arrival_does_not_matter(lab: TestRoom, tmp_path: Path) -> None:
    """A night whose middle comes last ends with the same values, flags, summaries and derived values as in order."""
    values = [7.0] * 40 + [6.5, 7.0, 2.0, 7.0] + [6.9] * 36
    whole = water(lab.now_ms - 79 * MINUTE_MS, *values)
    lab.take(*whole[:40], *whole[120:])
    lab.take(*whole[80:120])
    lab.take(*whole[40:80])
    assert {row[4] for row in kept(lab, Q.OXYGEN)} == {Arrival.LATE, Arrival.IN_TIME, Arrival.WAITING}
    settle(lab)
    (tmp_path / "other").mkdir()
    with room(tmp_path / "other") as other:
        other.take(*whole)
        for quantity in (Q.TEMPERATURE, Q.OXYGEN, Q.OXYGEN_SATURATION):
            assert [row[:4] for row in kept(lab, quantity)] == [row[:4] for row in kept(other, quantity)]
            assert summaries(lab, quantity) == summaries(other, quantity)
        flags = {row[2] for row in kept(other, Q.OXYGEN)}
        assert {Flag.GOOD, Flag.FAIL} <= flags  # the single 2.0 is no water: it fails the spike test


def test_a_danger_that_came_late_is_found_late_once(lab: TestRoom) -> None:
    """Two hours of low oxygen come while the tank is fine again: told once as found late, over, and nobody is woken."""
    now_ms = lab.now_ms
    lab.take(*water(now_ms - 10 * MINUTE_MS, *[7.0] * 10))
    fall = [7.0 - 0.1 * n for n in range(46)]
    lab.take(*water(now_ms - 5 * HOUR_MS, *fall, *[2.5] * 60, *reversed(fall)))
    settle(lab)
    lab.service.deliver.once()
    found = [one for one in lab.service.read.alerts(None) if one.found_late]
    assert [(one.kind, one.state, one.tank) for one in found] == [("low_oxygen", AlertState.NORMAL, "t1")]
    assert found[0].ended_ms is not None
    assert now_ms - 5 * HOUR_MS < found[0].since_ms < found[0].ended_ms < now_ms - 2 * HOUR_MS
    assert not [title for title, _ in lab.notifier.sent if "URGENT" in title]
    lab.take(*water(now_ms - 5 * HOUR_MS, *fall, *[2.5] * 60, *reversed(fall)))
    settle(lab)
    assert len([one for one in lab.service.read.alerts(None) if one.found_late]) == 1


def test_late_readings_that_end_in_trouble_do_not_say_it_was_over(lab: TestRoom) -> None:
    """Neither in the alert's history nor on its page; where the water came back, both say so."""
    now_ms = lab.now_ms
    lab.take(*water(now_ms - 10 * MINUTE_MS, *[7.0] * 10))
    lab.take(*water(now_ms - 5 * HOUR_MS, *[7.0] * 10, *[2.5] * 60))
    settle(lab)
    lab.take(*water(now_ms - 9 * HOUR_MS, *[7.0] * 10, *[2.5] * 30, *[7.0] * 60))
    settle(lab)
    cut, whole = sorted(
        (one for one in lab.service.read.alerts(None) if one.found_late), key=lambda one: -one.since_ms
    )  # fmt: skip
    for alert, word, step, said in (
        (cut, "not seen to end", "the late readings end", "where these readings end"),
        (whole, "over", "over", "is over. Now 7.0"),
    ):
        seen = alert_view(lab.service.read.alert(alert.id), Units(), Clock("UTC", now_ms), {})
        assert (seen.state_word, seen.steps[-1].word) == (word, step)
        assert said in seen.steps[-1].text


def test_what_was_told_live_is_not_found_late(lab: TestRoom) -> None:
    """The alert stood already when the network failed: the readings of that time tell nothing new."""
    for _ in range(20):
        lab.minute(4.0)
    start_ms = lab.now_ms
    lab.now_ms += 30 * MINUTE_MS
    for _ in range(25):
        lab.minute(7.0)
    lab.take(*water(start_ms + MINUTE_MS, *[4.0] * 25))
    settle(lab)
    assert [(one.kind, one.found_late) for one in lab.service.read.alerts(None) if one.kind == "low_oxygen"] == [
        ("low_oxygen", False)
    ]


def test_it_goes_on_after_a_restart(lab: TestRoom) -> None:
    """The power fails between the arrival of late readings and their checks: they are made after the start."""
    now_ms = lab.now_ms
    lab.take(*water(now_ms - 10 * MINUTE_MS, *[7.0] * 10))
    lab.take(*water(now_ms - 2 * HOUR_MS, *[7.0] * 60))
    lab.restart()
    settle(lab)
    assert {row[4] for row in kept(lab, Q.OXYGEN)} == {Arrival.LATE, Arrival.IN_TIME}
    assert all(value is not None for _, value, *_ in kept(lab, Q.OXYGEN_SATURATION))


def test_a_duplicate_waits_for_nothing(lab: TestRoom) -> None:
    """A pack sent twice changes nothing and leaves nothing to go over."""
    pack = water(lab.now_ms - 10 * MINUTE_MS, *[7.0] * 10)
    lab.take(*pack)
    assert (lab.take(*pack).accepted, lab.service.store.revisions.waiting()) == (0, [])


def test_a_keeper_who_wants_notes_reads_it_once(lab: TestRoom) -> None:
    """An address for notes gets one message that says it is old; one for what needs doing today gets none."""
    text = (lab.folder / "room.toml").read_text(encoding="utf-8")
    address = '[[notify]]\nname = "notes"\nurl = "json://127.0.0.1:9/notes"\npriority = "note"\n'
    (lab.folder / "room.toml").write_text(text + address, encoding="utf-8")
    lab.restart()
    now_ms = lab.now_ms
    lab.take(*water(now_ms - 10 * MINUTE_MS, *[7.0] * 10))
    lab.take(*water(now_ms - 5 * HOUR_MS, *[7.0 - 0.1 * n for n in range(46)], *[2.5] * 60))
    settle(lab)
    lab.service.deliver.once()
    assert [title for title, _ in lab.notifier.sent] == ["t1: low oxygen, found late"]
    assert "Found late" in lab.notifier.sent[0][1]


def test_a_suspect_reading_is_told_as_one(lab: TestRoom) -> None:
    """46 °C can be read but is unlikely in a tank: it raises an alert, which says that the reading is suspect."""
    for n in range(14):
        lab.minute(7.0, 46.0 + 0.02 * (n % 2))
    found = [one for one in lab.service.read.alerts(None) if one.kind == "heat"]
    assert "This reading is suspect" in found[0].text
