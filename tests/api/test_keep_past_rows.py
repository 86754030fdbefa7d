"""Recorded rows that are there already, say something else, or cannot be: each is counted, and nothing else is lost."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from api.domain.quantity import Quantity
from api.domain.reading import Arrival, Flag, RawReading
from api.intake.block import Series
from tests.support.rooms import TestRoom, room

Q = Quantity
MINUTE_MS, DAY_MS = 60_000, 86_400_000


@pytest.fixture
def lab(tmp_path: Path) -> Iterator[TestRoom]:
    """Two tanks."""
    with room(tmp_path) as one:
        yield one


def series(
    start_ms: int, values: list[float], unit: str = "Cel", probe: str = "p1", quantity: Quantity = Q.TEMPERATURE
) -> Series:
    """A value a minute, from line 2 on."""
    count = len(values)
    times_ms = start_ms + MINUTE_MS * np.arange(count, dtype=np.int64)
    return Series(probe, quantity, unit, np.arange(2, 2 + count), times_ms, np.array(values, np.float64))


def water(count: int, around: float = 25.0) -> list[float]:
    """Water that wanders a little."""
    return [round(around + 0.02 * (n * 7 % 11), 2) for n in range(count)]


def test_what_is_kept_already_is_compared_first(lab: TestRoom) -> None:
    """The same value is a duplicate, in whichever spelling of its unit; another is listed, and the first one stays."""
    start_ms = lab.now_ms - DAY_MS
    lab.take(*(RawReading("p1", Q.TEMPERATURE, start_ms + n * MINUTE_MS, 25.0 + n, "Cel") for n in range(3)))
    given = series(start_ms, [25.0, 26.5, 27.0, 27.5], unit="°C")
    done = lab.service.importing.keep.take([given], lab.now_ms)
    lab.service.importing.keep.finish()
    assert (done.accepted, done.duplicate, done.refused) == (1, 2, ())
    (one,) = done.conflicts
    assert (one.probe, one.quantity, one.line, one.time_ms) == ("p1", Q.TEMPERATURE, 3, start_ms + MINUTE_MS)
    assert (one.kept_value, one.kept_unit, one.given_value, one.given_unit) == (26.0, "Cel", 26.5, "°C")
    kept = lab.service.store.past.kept("p1", Q.TEMPERATURE, 0, 2**62)
    assert kept.raws.tolist() == [25.0, 26.0, 27.0, 27.5]


def test_a_file_that_contradicts_itself_keeps_its_first_word(lab: TestRoom) -> None:
    """Two rows of one moment: the same twice is a duplicate, another value is listed with its own line."""
    one = series(lab.now_ms - DAY_MS, water(4))
    twice = Series(
        one.probe, one.quantity, one.unit,
        np.arange(2, 10), np.tile(one.times_ms, 2), np.r_[one.values, one.values[:3], 9.0],
    )  # fmt: skip
    done = lab.service.importing.keep.take([twice], lab.now_ms)
    assert (done.accepted, done.duplicate) == (4, 3)
    assert [(c.line, c.kept_value, c.given_value) for c in done.conflicts] == [(9, one.values[3], 9.0)]


def test_times_that_cannot_be_are_refused_with_their_line(lab: TestRoom) -> None:
    """1999 and tomorrow are refused; so is a value that is no number; the rest is kept."""
    one = series(lab.now_ms - DAY_MS, [25.0, 25.1, 25.2, 25.3, 25.4])
    one.times_ms[1], one.times_ms[3], one.values[4] = 946_684_799_999, lab.now_ms + DAY_MS, np.nan
    done = lab.service.importing.keep.take([one], lab.now_ms)
    assert done.accepted == 2
    told = sorted((row.line, row.column, row.reason.split(":")[0]) for row in done.refused)
    assert told == [
        (3, "time", "its time is before 2000"),
        (5, "time", "its time is 86400 s ahead of the service's clock"),
        (6, "temperature", "is no number"),
    ]


def test_a_probe_with_an_impossible_name_is_refused_row_by_row(lab: TestRoom) -> None:
    """As the line would."""
    done = lab.service.importing.keep.take([series(lab.now_ms - DAY_MS, water(2), probe="no name!")], lab.now_ms)
    assert (done.accepted, [row.line for row in done.refused]) == (0, [2, 3])
    assert "is not usable" in done.refused[0].reason


def test_a_probe_nobody_claimed_is_kept_and_not_judged(lab: TestRoom) -> None:
    """As live readings are; and a unit nobody knows is kept with its reason."""
    start_ms = lab.now_ms - DAY_MS
    done = lab.service.importing.keep.take(
        [series(start_ms, [60.0] * 60, probe="stranger"), series(start_ms, water(60), unit="furlong")], lab.now_ms
    )
    lab.service.importing.keep.finish()
    assert (done.accepted, lab.service.store.past.kept("stranger", Q.TEMPERATURE, 0, 2**62).flags.size) == (120, 60)
    kept = lab.service.store.past.kept("p1", Q.TEMPERATURE, 0, 2**62)
    assert set(kept.flags.tolist()) == {int(Flag.FAIL)}
    assert "furlong" in kept.reasons[0]
    assert [row.probe for row in lab.service.store.state.alerts(None, 10)] == ["p1"]


def test_what_is_still_news_goes_the_way_of_live_readings(lab: TestRoom) -> None:
    """A file that ends now: its last quarter of an hour is no old news, and can wake somebody."""
    count = 120
    done = lab.service.importing.keep.take(
        [series(lab.now_ms - count * MINUTE_MS, [26.0 + 0.01 * (n % 5) for n in range(count - 20)] + [42.0] * 20)],
        lab.now_ms,
    )
    lab.service.importing.keep.finish()
    kept = lab.service.store.past.kept("p1", Q.TEMPERATURE, 0, 2**62)
    assert (done.accepted, kept.arrivals[-1], kept.arrivals[0]) == (count, Arrival.IN_TIME, Arrival.LATE)
    assert ("heat", 0) in [(row.kind, row.found_late) for row in lab.service.store.state.alerts(None, 10)]


def test_a_block_done_twice_after_a_kill_is_harmless(lab: TestRoom) -> None:
    """The service dies in the middle; the caller begins again with the block it had not finished."""
    start_ms = lab.now_ms - 10 * DAY_MS
    first, second = series(start_ms, water(3000)), series(start_ms + 3000 * MINUTE_MS, [*water(1500), *[40.0] * 1500])
    lab.service.importing.keep.take([first], lab.now_ms)
    lab.service.importing.keep.take([second], lab.now_ms)
    lab.restart()
    done = lab.service.importing.keep.take([second], lab.now_ms)
    lab.service.importing.keep.finish()
    assert (done.accepted, done.duplicate, done.conflicts) == (0, 3000, ())
    spans = lab.service.store.readings.summaries("p1", Q.TEMPERATURE, 0, 2**62, 3600, 3_600_000)
    assert sum(span.count for span in spans) + sum(span.flagged for span in spans) >= 6000
    assert {row.kind for row in lab.service.store.state.alerts(None, 50)} >= {"heat"}
    lab.now_ms += 60_000
    lab.service.again.look()
    assert lab.service.store.revisions.waiting() == []


def test_the_line_goes_on_from_what_was_imported(lab: TestRoom) -> None:
    """A live reading after a file is checked beside the file's last rows, and derived with its temperature."""
    start_ms = lab.now_ms - 60 * MINUTE_MS
    lab.service.importing.keep.take([series(start_ms, water(40))], lab.now_ms)
    lab.service.importing.keep.finish()
    lab.now_ms = start_ms + 40 * MINUTE_MS
    lab.take(
        RawReading("p1", Q.TEMPERATURE, lab.now_ms, 25.1, "Cel"), RawReading("p1", Q.OXYGEN, lab.now_ms, 7.5, "mg/L")
    )
    kept = lab.service.store.past.kept("p1", Q.TEMPERATURE, 0, 2**62)
    assert kept.flags[-2] == kept.flags[-3]
    assert "first reading" not in kept.reasons.get(len(kept.flags) - 1, "")
    (derived,) = lab.service.store.past.kept("p1", Q.OXYGEN_SATURATION, 0, 2**62).values.tolist()
    assert derived == pytest.approx(91.0, abs=0.5)  # 8.24 mg/L at 25.1 degC and 1 atm, Benson & Krause (from memory)


def test_a_long_history_leaves_nothing_to_go_over(lab: TestRoom) -> None:
    """A file far before the first live reading is done when it is taken: no window leaves work to others."""
    lab.take(
        RawReading("p1", Q.TEMPERATURE, lab.now_ms, 25.0, "Cel"), RawReading("p1", Q.OXYGEN, lab.now_ms, 7.5, "mg/L")
    )
    start_ms, count = lab.now_ms - 40 * DAY_MS, 6000
    for first in range(0, 3 * count, count):
        block = start_ms + first * MINUTE_MS
        oxygen = series(block, water(count, 7.0), "mg/L", quantity=Q.OXYGEN)
        lab.service.importing.keep.take([series(block, water(count)), oxygen], lab.now_ms)
        assert lab.service.store.revisions.waiting() == []
    lab.service.importing.keep.finish()
    waiting = lab.service.store.revisions.waiting()
    # the live reading is told how long the silence before it was
    assert {(span.start_ms, span.end_ms) for span in waiting} == {(lab.now_ms, lab.now_ms + 1)}
    derived = lab.service.store.past.kept("p1", Q.OXYGEN_SATURATION, 0, 2**62)
    assert len(derived.flags) == 3 * count + 1
    assert set(derived.flags[1500:-2].tolist()) == {int(Flag.GOOD)}
