"""The line inside the service on a real store and a test clock: nothing dropped, nothing silently fine."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from api.domain.alert import AlertKind, AlertState
from api.domain.band import Band
from api.domain.quantity import Quantity
from api.domain.reading import Flag, RawReading
from api.services.answers import Latest
from tests.support.rooms import NOW_MS, TestRoom, room

Q = Quantity


@pytest.fixture
def lab(tmp_path: Path) -> Iterator[TestRoom]:
    """Two tanks."""
    with room(tmp_path) as one:
        yield one


def latest(lab: TestRoom, tank: str, quantity: Quantity) -> Latest:
    """The newest reading of a tank's quantity."""
    return next(one for one in lab.service.read.tank(tank, lab.now_ms).latest if one.quantity is quantity)


def test_units_and_percent_become_canonical(lab: TestRoom) -> None:
    """80 F is 26.667 C; 50 % there is half of 8.016 mg/L (Benson & Krause, computed at 26.667 C, 1 atm)."""
    lab.take(
        RawReading("p2", Q.OXYGEN_SATURATION, lab.now_ms, 50.0, "%"),
        RawReading("p2", Q.TEMPERATURE, lab.now_ms, 80.0, "[degF]"),
    )
    assert latest(lab, "t2", Q.TEMPERATURE).value == pytest.approx(26.6667, abs=1e-4)
    derived = latest(lab, "t2", Q.OXYGEN)
    assert derived.derived
    assert derived.value == pytest.approx(8.016 / 2, abs=0.0005)


def test_no_temperature_no_derived_value(lab: TestRoom) -> None:
    """The reason is told, and the band is not known."""
    lab.take(RawReading("p2", Q.OXYGEN_SATURATION, lab.now_ms, 90.0, "%"))
    derived = latest(lab, "t2", Q.OXYGEN)
    assert (derived.value, derived.flag, derived.band) == (None, Flag.MISSING, Band.UNKNOWN)
    assert "no good temperature" in derived.reason


def test_unknown_unit_is_kept_and_says_so(lab: TestRoom) -> None:
    """Kept with its raw value, flagged FAIL, never judged."""
    outcome = lab.take(RawReading("p1", Q.TEMPERATURE, lab.now_ms, 5.0, "furlong"))
    one = latest(lab, "t1", Q.TEMPERATURE)
    assert (outcome.accepted, one.value, one.flag, one.band) == (1, None, Flag.FAIL, Band.UNKNOWN)
    assert "furlong" in one.reason


def test_times_that_cannot_be_are_refused_one_by_one(lab: TestRoom) -> None:
    """1970 and tomorrow are refused with their place; the good one between them is kept."""
    outcome = lab.take(
        RawReading("p1", Q.TEMPERATURE, 12_000, 25.0, "Cel"),
        RawReading("p1", Q.TEMPERATURE, lab.now_ms, 25.0, "Cel"),
        RawReading("p1", Q.TEMPERATURE, lab.now_ms + 86_400_000, 25.0, "Cel"),
    )
    assert (outcome.accepted, [one.index for one in outcome.refused]) == (1, [0, 2])


def test_twice_is_once(lab: TestRoom) -> None:
    """A repeated pack is counted as duplicate and changes neither readings nor summaries."""
    pack = [RawReading("p1", Q.TEMPERATURE, lab.now_ms - n * 1000, 25.0 + n, "Cel") for n in range(5)]
    first, second = lab.take(*pack), lab.take(*pack)
    assert ((first.accepted, first.duplicate), (second.accepted, second.duplicate)) == ((5, 0), (0, 5))
    spans = lab.service.store.readings.summaries("p1", Q.TEMPERATURE, NOW_MS - 3_600_000, NOW_MS + 1, 300, 300_000)
    assert sum(span.count for span in spans) == 5


def test_out_of_order_readings_are_kept_and_summed(lab: TestRoom) -> None:
    """Summaries equal what the readings give, whatever the order they came in."""
    for n in (5, 1, 9, 3, 7):
        lab.take(RawReading("p1", Q.TEMPERATURE, lab.now_ms - n * 60_000, 20.0 + n, "Cel"))
    store = lab.service.store.readings
    rows = store.recent("p1", Q.TEMPERATURE, 0, lab.now_ms + 1)
    assert [value for _, value, _ in rows] == [29.0, 27.0, 25.0, 23.0, 21.0]
    for step_s in (300, 3600):
        spans = store.summaries("p1", Q.TEMPERATURE, 0, lab.now_ms + 1, step_s, step_s * 1000)
        for span in spans:
            inside = [v for t, v, _ in rows if v is not None and span.start_ms <= t < span.start_ms + step_s * 1000]
            assert (span.count, span.low, span.high) == (len(inside), min(inside), max(inside))
            assert span.mean == pytest.approx(sum(inside) / len(inside))


def test_an_unclaimed_probe_is_shown(lab: TestRoom) -> None:
    """Kept, not judged, listed."""
    lab.take(RawReading("stranger", Q.TEMPERATURE, lab.now_ms, 25.0, "Cel"))
    assert [one.probe for one in lab.service.read.room(lab.now_ms).unclaimed] == ["stranger"]


def test_low_oxygen_is_told_once_with_its_trend(lab: TestRoom) -> None:
    """Raised before it falls below 5 mg/L; the message says tank, value, trend, time left, limit and first check."""
    oxygen_mg_l = 7.0
    for _ in range(70):
        oxygen_mg_l -= 0.04
        lab.minute(oxygen_mg_l)
        lab.service.deliver.once()
    assert [title for title, _ in lab.notifier.sent] == ["URGENT t1: low oxygen"]
    text = lab.notifier.sent[0][1][:160]
    said = re.search(
        r"t1: oxygen (5\.\d) mg/L\. Falling 2\.4 mg/L per hour, (?:(\d) h ?)?(?:(\d+) min )?to 3\.0 mg/L \(80 %: ", text
    )
    assert said is not None, text
    # it falls by 0.04 mg/L a minute, so the truth is known
    assert int(said[2] or 0) * 60 + int(said[3] or 0) == pytest.approx((float(said[1]) - 3.0) / 0.04, abs=6)
    assert "Is the airstone bubbling?" in text
    alert = lab.service.read.alerts([AlertState.UNACKNOWLEDGED])[0]
    assert (alert.kind, alert.limit) == (AlertKind.LOW_OXYGEN, 3.0)


def test_alerts_survive_a_restart_and_are_acknowledged(lab: TestRoom) -> None:
    """The same alert goes on; a person takes it; when the water is back it is closed and told."""
    for _ in range(15):
        lab.minute(4.5)
    lab.restart()
    for _ in range(5):
        lab.minute(4.5)
    alerts = lab.service.read.alerts(None)
    assert len(alerts) == 1
    lab.service.records.acknowledge(alerts[0].id, "Keeper", "going", lab.now_ms).result()
    for _ in range(15):
        lab.minute(7.0)
    lab.service.deliver.once()
    done = lab.service.read.alert(alerts[0].id)
    assert (done.state, done.acknowledged_by, done.note) == (AlertState.NORMAL, "Keeper", "going")
    assert [step.event for step in done.steps] == ["raised", "acknowledged", "cleared"]
    assert [title for title, _ in lab.notifier.sent] == ["t1: low oxygen", "t1: low oxygen is over"]


def test_a_probe_that_cannot_be_believed_becomes_an_alert(lab: TestRoom) -> None:
    """A value beyond what a probe can read is never judged as water; after 15 minutes it is told."""
    for _ in range(20):
        lab.minute(7.0, temperature_c=-55.0)
    kinds = {alert.kind for alert in lab.service.read.alerts(None)}
    assert kinds == {AlertKind.NOT_KNOWN}
    assert lab.service.read.tank("t1", lab.now_ms).band is Band.UNKNOWN


def test_old_readings_wake_nobody(lab: TestRoom) -> None:
    """A backlog is judged on its own time, recorded as found late, and never sent."""
    start_ms = lab.now_ms - 6 * 3_600_000
    for n in range(60):
        oxygen_mg_l = 4.0 if 10 <= n < 40 else 7.0
        lab.take(RawReading("p1", Q.OXYGEN, start_ms + n * 60_000, oxygen_mg_l, "mg/L"))
    lab.service.deliver.once()
    alerts = lab.service.read.alerts(None)
    assert [(alert.found_late, alert.state) for alert in alerts] == [(True, AlertState.NORMAL)]
    assert lab.notifier.sent == []


def test_a_quiet_probe_is_told_in_time(lab: TestRoom) -> None:
    """Within three missed readings and five minutes; the other probe goes on speaking."""
    lab.minute(7.0)
    quiet_from_ms = lab.now_ms
    while not lab.service.read.alerts(None) and lab.now_ms < quiet_from_ms + 3_600_000:
        lab.now_ms += 30_000
        lab.take(RawReading("p2", Q.TEMPERATURE, lab.now_ms, 80.0, "[degF]"))
        lab.service.watch.look()
    alerts = lab.service.read.alerts(None)
    assert [(alert.kind, alert.probe) for alert in alerts] == [(AlertKind.QUIET_PROBE, "p1")]
    assert 480_000 < lab.now_ms - quiet_from_ms <= 510_000
    lab.minute(7.0)
    lab.service.watch.look()
    assert lab.service.read.alerts(None)[0].state is AlertState.RETURNED_UNACKNOWLEDGED


def test_a_quiet_room_is_told_once(lab: TestRoom) -> None:
    """Not once a probe."""
    lab.minute(7.0)
    lab.take(RawReading("p2", Q.TEMPERATURE, lab.now_ms, 80.0, "[degF]"))
    for _ in range(60):
        lab.now_ms += 30_000
        lab.service.watch.look()
    assert [alert.kind for alert in lab.service.read.alerts(None)] == [AlertKind.QUIET_ROOM]


def test_an_undelivered_message_is_shown_and_tried_again(lab: TestRoom) -> None:
    """The reason stands on the room page; the wait grows; it closes when the receiver takes it."""
    lab.notifier.fault = "connection refused"
    for _ in range(15):
        lab.minute(4.5)
    assert lab.service.deliver.once() == 0
    waiting = lab.service.read.room(lab.now_ms).undelivered
    assert [(row.attempts, row.last_error) for row in waiting] == [(1, "connection refused")]
    assert waiting[0].next_ms > lab.now_ms
    lab.notifier.fault, lab.now_ms = "", waiting[0].next_ms
    assert lab.service.deliver.once() == 1
    assert lab.service.read.room(lab.now_ms).undelivered == ()


def test_a_limit_already_passed_is_not_ahead(lab: TestRoom) -> None:
    """The five-minute mean lags behind fast water; the newest value decides what is left."""
    for n in range(40):
        lab.minute(7.0, temperature_c=26.0 + 0.2 * max(0, n - 2))
    before = lab.service.read.tank("t1", lab.now_ms)
    assert before.time_left_s is not None
    lab.minute(7.0, temperature_c=34.2)
    after = lab.service.read.tank("t1", lab.now_ms)
    assert (after.band, after.time_left_s) == (Band.DANGER, None)
    assert "left" not in after.words
