"""The calibration log: what a comparison does to readings, to summaries and to what is derived from them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from api.domain.calibration import Calibration, CalibrationKind, Line, line_of, lines_of
from api.domain.errors import InputError, NotFound
from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from tests.support.rooms import TestRoom, room

Q = Quantity
MINUTE_MS = 60_000
DAY_MS = 86_400_000


@pytest.fixture
def lab(tmp_path: Path) -> Iterator[TestRoom]:
    """Two tanks."""
    with room(tmp_path) as one:
        yield one


def compared(
    kind: CalibrationKind,
    said: float,
    expected: float,
    from_ms: int = 0,
    said_2: float | None = None,
    expected_2: float | None = None,
) -> Calibration:
    """A calibration of p1's oxygen."""
    return Calibration("p1", Q.OXYGEN, kind, from_ms, said, expected, said_2, expected_2, person="Aki")


def enter(lab: TestRoom, given: Calibration) -> int:
    """Put it on record and let the past be gone over."""
    number = lab.service.calibrations.enter(given, lab.now_ms).result(timeout=10)
    lab.service.again.look()
    lab.service.again.look()
    return number


def values(lab: TestRoom, quantity: Quantity) -> list[float | None]:
    """p1's values in time order."""
    return [value for _, value, _ in lab.service.store.readings.recent("p1", quantity, 0, 2**62)]


def test_lines() -> None:
    """By hand: an offset shifts; two pairs are a line through both; air sets the slope and zero the foot."""
    assert line_of([compared(CalibrationKind.OFFSET, 7.5, 8.0)]) == Line(0, 0.5, 1.0)
    two = line_of([compared(CalibrationKind.OFFSET_AND_SLOPE, 2.0, 3.0, said_2=10.0, expected_2=13.0)])
    assert two.true(2.0) == pytest.approx(3.0)
    assert two.true(10.0) == pytest.approx(13.0)
    air = compared(CalibrationKind.AIR_SATURATION, 7.6, 8.26)
    assert line_of([air]).true(7.6) == pytest.approx(8.26)
    assert line_of([air]).true(0.0) == 0.0
    both = line_of([air, compared(CalibrationKind.ZERO_POINT, 0.3, 0.0)])
    assert both.true(0.3) == pytest.approx(0.0)
    assert both.true(7.6) == pytest.approx(8.26)
    assert line_of([compared(CalibrationKind.ZERO_POINT, 0.3, 0.0), air]).true(0.3) == pytest.approx(0.0)


@pytest.mark.parametrize(
    ("given", "words"),
    [
        (lambda: compared(CalibrationKind.OFFSET_AND_SLOPE, 2.0, 3.0), "two pairs"),
        (lambda: compared(CalibrationKind.OFFSET_AND_SLOPE, 2.0, 3.0, said_2=2.0, expected_2=4.0), "same reading"),
        (lambda: compared(CalibrationKind.AIR_SATURATION, 0.0, 8.0), "broken"),
        (lambda: replace(compared(CalibrationKind.AIR_SATURATION, 7.0, 8.0), quantity=Q.PH), "oxygen probes"),
        (lambda: line_of([compared(CalibrationKind.AIR_SATURATION, 0.5, 8.0)]), "slope of 16"),
        (
            lambda: line_of(
                [compared(CalibrationKind.AIR_SATURATION, 7.0, 8.0), compared(CalibrationKind.ZERO_POINT, 7.5, 0.0)]
            ),
            "no more",
        ),
    ],
)
def test_numbers_that_are_no_calibration(given: object, words: str) -> None:
    """Each is refused with what to do."""
    assert callable(given)
    with pytest.raises(InputError, match=words):
        given()


def test_readings_are_made_anew_from_its_time_on(lab: TestRoom) -> None:
    """Before it nothing changes; from it on values, summaries and percent follow; live readings too; raw stays."""
    for n in range(30):
        lab.minute(7.0 + 0.01 * (n % 2))
    before = values(lab, Q.OXYGEN)
    percent = values(lab, Q.OXYGEN_SATURATION)
    at_ms = lab.now_ms - 10 * MINUTE_MS
    enter(lab, compared(CalibrationKind.OFFSET, 7.0, 7.5, at_ms))
    lab.minute(7.0)
    after = values(lab, Q.OXYGEN)
    assert after[:19] == before[:19]
    assert after[19:] == [pytest.approx(value + 0.5) for value in [*before[19:], 7.0] if value is not None]
    now = values(lab, Q.OXYGEN_SATURATION)
    assert now[:19] == percent[:19]
    assert now[-2] == pytest.approx((percent[-1] or 0.0) * (after[-2] or 0.0) / (before[-1] or 1.0))
    rows = lab.service.store.revisions.rows("p1", Q.OXYGEN, 0, 2**62)
    assert {row.raw_value for row in rows} == {7.0, 7.01}
    spans = lab.service.store.readings.summaries("p1", Q.OXYGEN, at_ms, lab.now_ms + 1, 300, 300_000)
    assert spans[-1].mean == pytest.approx(sum(v or 0.0 for v in after[-spans[-1].count :]) / spans[-1].count)


def test_withdrawn_is_as_if_never_made(lab: TestRoom) -> None:
    """Taken back, the values are the old ones, and the log still holds who made it and who took it back."""
    for _ in range(10):
        lab.minute(7.0)
    before = values(lab, Q.OXYGEN), values(lab, Q.OXYGEN_SATURATION)
    number = enter(lab, compared(CalibrationKind.OFFSET, 7.0, 7.5, lab.now_ms - 5 * MINUTE_MS))
    assert values(lab, Q.OXYGEN) != before[0]
    lab.service.calibrations.withdraw(number, "Noor", lab.now_ms).result(timeout=10)
    lab.service.again.look()
    lab.service.again.look()
    assert (values(lab, Q.OXYGEN), values(lab, Q.OXYGEN_SATURATION)) == before
    entry = lab.service.calibrations.entries()[0]
    assert (entry.calibration.person, entry.withdrawn_by) == ("Aki", "Noor")
    with pytest.raises(NotFound):
        lab.service.calibrations.withdraw(number, "Noor", lab.now_ms)


def test_temperature_calibrated_changes_what_is_derived(lab: TestRoom) -> None:
    """A thermometer 2 degrees low: percent saturation follows, mg/L as measured does not."""
    for _ in range(10):
        lab.minute(7.0, 24.0)
    measured, percent = values(lab, Q.OXYGEN), values(lab, Q.OXYGEN_SATURATION)
    given = Calibration("p1", Q.TEMPERATURE, CalibrationKind.OFFSET, 0, 24.0, 26.0, person="Aki")
    enter(lab, given)
    assert values(lab, Q.OXYGEN) == measured
    # USGS oxygen solubility table, fresh water, 760 mmHg: 8.42 mg/L at 24 C, 8.11 mg/L at 26 C
    assert percent[0] == pytest.approx(100 * 7.0 / 8.42, abs=0.1)
    assert values(lab, Q.OXYGEN_SATURATION)[0] == pytest.approx(100 * 7.0 / 8.11, abs=0.1)


def test_air_saturation_knows_what_the_probe_should_say(lab: TestRoom) -> None:
    """USGS oxygen solubility table: 8.26 mg/L at 25 C and 760 mmHg; a percent probe should say 100."""
    expected, pressure_kpa = lab.service.calibrations.expected(Q.OXYGEN, "p1", 25.0, None)
    assert (round(expected, 2), pressure_kpa) == (8.26, 101.325)
    assert lab.service.calibrations.expected(Q.OXYGEN_SATURATION, "p2", None, None)[0] == 100.0
    with pytest.raises(InputError, match="temperature"):
        lab.service.calibrations.expected(Q.OXYGEN, "p1", None, None)
    with pytest.raises(InputError, match="outside"):
        lab.service.calibrations.expected(Q.OXYGEN, "p1", 77.0, None)


def test_a_reminder_when_one_is_due(lab: TestRoom) -> None:
    """Oxygen calibrated 31 days ago: a note, once, which ends with the next calibration."""
    lab.minute(7.0)
    lab.service.watch.look()
    assert [one for one in lab.service.read.alerts(None) if one.kind == "calibration_due"] == []
    enter(lab, compared(CalibrationKind.OFFSET, 7.0, 7.1, lab.now_ms - 31 * DAY_MS))
    lab.service.watch.look()
    lab.service.watch.look()
    due = [one for one in lab.service.read.alerts(None) if one.kind == "calibration_due"]
    assert [(one.priority, one.ended_ms) for one in due] == [("note", None)]
    channel = next(one for one in lab.service.probes.probe("p1").channels if one.quantity is Q.OXYGEN)
    assert channel.due_ms == lab.now_ms - DAY_MS
    assert channel.compared[0].off == pytest.approx(-0.1)
    enter(lab, compared(CalibrationKind.OFFSET, 7.0, 7.1, lab.now_ms))
    lab.now_ms += 5_000
    lab.service.watch.look()
    assert lab.service.read.alert(due[0].id).state != "unacknowledged"


def test_who_cannot_calibrate(lab: TestRoom) -> None:
    """No name, a probe nobody knows, a time to come: refused in words, and nothing is kept."""
    lab.minute(7.0)
    for given, words in (
        (replace(compared(CalibrationKind.OFFSET, 7.0, 7.1), person=" "), "give a name"),
        (replace(compared(CalibrationKind.OFFSET, 7.0, 7.1), probe="p9"), "does not measure"),
        (replace(compared(CalibrationKind.OFFSET, 7.0, 7.1), from_ms=lab.now_ms + DAY_MS), "not come yet"),
    ):
        with pytest.raises(InputError, match=words):
            lab.service.calibrations.enter(given, lab.now_ms)
    assert lab.service.calibrations.entries() == []


def test_drift_is_told_against_the_calibration_before(lab: TestRoom) -> None:
    """Second air calibration: off by what the probe, as calibrated first, said too little."""
    lab.take(RawReading("p1", Q.OXYGEN, lab.now_ms, 7.0, "mg/L"))
    enter(lab, compared(CalibrationKind.AIR_SATURATION, 8.0, 8.26, lab.now_ms - 10 * DAY_MS))
    enter(lab, compared(CalibrationKind.AIR_SATURATION, 7.6, 8.26, lab.now_ms - DAY_MS))
    channel = next(one for one in lab.service.probes.probe("p1").channels if one.quantity is Q.OXYGEN)
    assert [one.off for one in channel.compared] == [pytest.approx(-0.26), pytest.approx(7.6 * 8.26 / 8.0 - 8.26)]
    lines = lines_of(one.entry.calibration for one in channel.compared)
    assert lines[0].true(8.0) == pytest.approx(8.26)
