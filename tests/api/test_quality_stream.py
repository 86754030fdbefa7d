"""One reading after the other: what each becomes, told in words a keeper can use."""

from __future__ import annotations

import sys
from collections import deque

import pytest

from api.domain.checks import CheckLimits
from api.domain.quantity import Quantity
from api.domain.reading import Flag
from api.judge.check_seed import seed
from api.judge.check_stream import Revised, Stream
from api.judge.check_windows import MOST_POINTS
from tests.support.quality_walk import LIMITS, START_MS, final, walk

NEWEST = "too new: a spike can be told only by the next reading"
FLAT = CheckLimits(fail_low=-5.0, fail_high=60.0, gap_s=300.0, flat_suspect_s=1800.0, flat_fail_s=3600.0)
COMPANY = CheckLimits(
    fail_low=-5.0, fail_high=60.0, gap_s=300.0, company_rate_per_h=6.0, company_change=0.1, company_age_s=120.0
)


def test_the_newest_waits_for_the_next() -> None:
    """QARTOD test 6: the newest reading is 2 until the next arrives, then what its neighbours make of it."""
    steps = walk([25.0, 25.1, 25.0])
    assert steps[1][:2] == (Flag.NOT_EVALUATED, NEWEST)
    assert steps[1].waiting
    assert steps[2].revised == Revised(START_MS + 60_000, Flag.GOOD, "")
    assert not steps[0].waiting


def test_the_first_reading_says_what_it_lacks() -> None:
    """And is never good, however much comes after it."""
    told = final(walk([25.0] * 5))
    assert told[0] == (
        Flag.NOT_EVALUATED,
        "first reading; no reading near enough in time to check: spike, rate of change",
    )


def test_a_reading_that_failed_does_not_spoil_its_neighbours() -> None:
    """-127 is what a common digital thermometer says when it has lost its wire."""
    told = final(walk([25.0, 25.0, 25.1, -127.0, None, 25.0, 25.1, 25.0]))
    assert [flag for flag, _ in told] == [2, 1, 1, 4, 9, 1, 1, 2]
    assert told[3][1] == "-127 °C is beyond what a probe can read (-5 to 60)"
    assert told[4][1] == "no value"


def test_a_spike_and_its_neighbours() -> None:
    """Average of the neighbours: half of the spike's height falls on each of them (QARTOD test 6)."""
    told = final(walk([25.0, 25.0, 25.0, 27.0, 25.0, 25.0, 25.0]))
    assert [flag for flag, _ in told] == [2, 1, 3, 3, 3, 1, 2]
    assert told[3][1] == (
        "stands 2 °C off the readings before and after it (more than 0.6); jumped 2 °C in 60 s, more than 1.2"
    )


def test_a_wild_spike_fails() -> None:
    """Five degrees off both neighbours is no water; only what made the flag is told."""
    flag, reason = final(walk([25.0, 25.0, 31.5, 25.0, 25.0]))[2]
    assert flag is Flag.FAIL
    assert reason == "stands 6.5 °C off the readings before and after it (more than 5)"


def test_a_jump_is_told_with_what_it_may_be() -> None:
    """4.2 K in a minute where 1 K a minute and 0.2 K of noise are believed."""
    told = final(walk([25.0, 25.0, 29.2, 29.2, 29.2]))
    assert told[2][0] is Flag.SUSPECT
    assert "jumped 4.2 °C in 60 s, more than 1.2" in told[2][1]
    assert [flag for flag, _ in told] == [2, 3, 3, 1, 2]


def test_after_silence_there_are_no_neighbours() -> None:
    """A good reading after a gap is no failure; what could not be checked is said."""
    stream = Stream(LIMITS, Quantity.TEMPERATURE)
    for place in range(3):
        stream.step(START_MS + place * 60_000, 25.0)
    step = stream.step(START_MS + 120_000 + 1_500_000, 30.0)
    assert step.flag is Flag.NOT_EVALUATED
    assert step.reason == (
        f"first reading after 25 min of silence; no reading near enough in time to check: rate of change; {NEWEST}"
    )
    assert step.revised is not None
    assert step.revised.reason == "no reading near enough in time to check: spike"


def test_what_came_out_of_order_changes_nothing() -> None:
    """It is checked by its range only, and says so."""
    stream, other = Stream(LIMITS, Quantity.TEMPERATURE), Stream(LIMITS, Quantity.TEMPERATURE)
    for one in (stream, other):
        one.step(START_MS, 25.0)
    late = stream.step(START_MS - 60_000, 40.0)
    assert late[:2] == (Flag.NOT_EVALUATED, "came after a newer reading: only its range was checked")
    assert stream.step(START_MS, 77.0).flag is Flag.FAIL
    assert stream.step(START_MS + 60_000, 25.0) == other.step(START_MS + 60_000, 25.0)


def test_a_stuck_probe() -> None:
    """Exactly the same for half an hour is suspect, for an hour has failed; a moment's change ends it."""
    told = final(walk([24.3] + [24.31] * 70 + [24.32], FLAT))
    assert [flag for flag, _ in told[1:31]] == [1] * 30
    assert told[31] == (Flag.SUSPECT, "has said exactly 24.31 for 30 min: is the probe stuck?")
    assert told[36][1] == "has said exactly 24.31 for 35 min: is the probe stuck?"
    assert told[61] == (Flag.FAIL, "has said exactly 24.31 for 1 h or more: is the probe stuck?")
    assert told[71] == (Flag.GOOD, "")


def test_too_little_past_is_not_good() -> None:
    """The same from the very first reading on: nobody can say yet; the first change settles it."""
    told = final(walk([24.31] * 40 + [24.32], FLAT))
    assert [flag for flag, _ in told[:30]] == [Flag.NOT_EVALUATED] * 30
    assert told[5][1] == "too little past yet to check: flat line"
    assert told[30][0] is Flag.SUSPECT
    assert told[40] == (Flag.GOOD, "")


def test_a_coarse_probe_is_given_more_time() -> None:
    """Steps of 0.5: the same for half an hour is its way; of a restless probe it is not."""
    limits = CheckLimits(
        fail_low=-5, fail_high=60, gap_s=300, flat_suspect_s=1800, flat_fail_s=3600, flat_still_s=86_400
    )
    coarse = final(walk([25.0, 25.5] * 20 + [25.5] * 90, limits))
    assert {flag for flag, _ in coarse[1:]} == {Flag.GOOD}
    restless = final(walk([25.02, 25.05, 25.01, 25.06] * 10 + [25.03] * 90, limits))
    assert restless[40 + 30][0] is Flag.SUSPECT
    assert restless[40 + 60][0] is Flag.FAIL


def test_a_restart_takes_no_jump_for_a_stuck_probe() -> None:
    """A reading that failed for its jump, at the beginning of a still stretch, says nothing of restlessness."""
    limits = CheckLimits(
        fail_low=-5, fail_high=60, gap_s=120, spike_fail=2, flat_suspect_s=1800, flat_fail_s=3600, flat_still_s=86_400
    )
    values = [25.0] * 10 + [32.0] * 90
    whole = walk(values, limits)
    told = final(whole[:50])
    times_ms = [START_MS + place * 60_000 for place in range(100)]
    stream = seed(Stream(limits, Quantity.TEMPERATURE), times_ms[:50], values[:50], [flag for flag, _ in told])
    assert told[10][0] is Flag.FAIL
    assert [stream.step(times_ms[place], values[place]) for place in range(50, 100)] == whole[50:]


@pytest.mark.parametrize("cut", [60, 80, 110, 700])
def test_a_restart_while_a_probe_is_stuck(cut: int) -> None:
    """That it had been restless before may lie too far back to be read again; that it has failed does not."""
    limits = CheckLimits(fail_low=-5, fail_high=60, gap_s=120, flat_suspect_s=1800, flat_fail_s=3600, flat_still_s=7200)
    values = [25.02, 25.05, 25.01, 25.06] * 10 + [25.03] * 760
    whole = walk(values, limits)
    first = max(0, cut - 2 - round(limits.past_s / 60))
    rows = range(first, cut)
    times_ms = [START_MS + place * 60_000 for place in rows]
    kept = [whole[place].flag for place in rows]
    stream = seed(Stream(limits, Quantity.TEMPERATURE), times_ms, [values[place] for place in rows], kept)
    again = [stream.step(START_MS + place * 60_000, values[place]) for place in range(cut, 800)]
    assert again == whole[cut:]
    assert whole[790].flag is Flag.FAIL


def test_a_signal_that_hardly_moves() -> None:
    """Flickering in its last digit for three hours (QARTOD test 10, max - min)."""
    limits = CheckLimits(
        fail_low=0, fail_high=50, gap_s=300, attenuated_window_s=10_800, attenuated_suspect=0.05, attenuated_fail=0.002
    )
    told = final(walk([7.5] + [8.01, 8.02] * 100, limits, quantity=Quantity.OXYGEN))
    assert told[3] == (Flag.GOOD, "")
    assert told[190][0] is Flag.SUSPECT
    assert told[190][1] == "has moved only 0.01 mg/L in 3 h (less than 0.05): is the probe fouled or stuck?"


COMPANIES = [
    ((0, 25.0), (60_000, 25.0), Flag.SUSPECT, "while the probe beside it stayed: is the probe out of the water?"),
    ((0, 25.0), (60_000, 23.9), Flag.GOOD, ""),
    ((0, 25.0), (0, 25.0), Flag.NOT_EVALUATED, "has not spoken since"),
    ((0, 25.0), None, Flag.NOT_EVALUATED, "has not spoken since"),
    (None, (60_000, 25.0), Flag.NOT_EVALUATED, "has not spoken since"),
    ((-200_000, 25.0), (60_000, 25.0), Flag.NOT_EVALUATED, "has not spoken since"),
    ((0, 25.0), (60_001, 25.0), Flag.NOT_EVALUATED, "has not spoken since"),
]


@pytest.mark.parametrize(("before", "now", "flag", "words"), COMPANIES)
def test_rate_without_company(
    before: tuple[int, float] | None, now: tuple[int, float] | None, flag: Flag, words: str
) -> None:
    """A probe that moves alone is suspect; where the other cannot tell, nothing is known (QARTOD tests 9 and 11)."""

    def beside(time_ms: int) -> tuple[int, float] | None:
        pair = before if time_ms == START_MS else now
        return None if pair is None else (START_MS + pair[0], pair[1])

    stream = Stream(COMPANY, Quantity.TEMPERATURE)
    stream.step(START_MS, 25.0, company=beside)
    step = stream.step(START_MS + 60_000, 23.8, company=beside)
    assert step.flag is flag
    assert words in step.reason
    assert (step.reason == "") == (flag is Flag.GOOD)


def test_company_is_asked_only_when_there_is_something_to_ask() -> None:
    """A calm reading is good without company."""
    assert [flag for flag, _ in final(walk([25.0, 25.02, 25.0], COMPANY))] == [2, 1, 1]


def test_without_a_span_nothing_is_good() -> None:
    """Nobody has said what is possible."""
    stream = Stream(CheckLimits(), Quantity.NITRITE)
    assert stream.step(START_MS, 0.1)[:2] == (Flag.NOT_EVALUATED, "no span is known for nitrite")


@pytest.mark.parametrize("limits", [
    CheckLimits(gap_s=600, attenuated_window_s=43_200, attenuated_suspect=1e6),
    CheckLimits(gap_s=600, flat_tolerance=1e6, flat_suspect_s=43_200),
])  # fmt: skip
def test_memory_stays_bounded(limits: CheckLimits) -> None:
    """A day at ten a second, always falling: the worst a window can meet; it keeps one reading a cell."""
    stream = Stream(limits, Quantity.TEMPERATURE)
    for place in range(0, 864_000, 3):
        stream.step(START_MS + place * 100, 1e6 - place * 0.001)
    window = stream._extent or stream._run
    kept = [getattr(window, name) for name in ("_high", "_low", "_times", "_recent") if hasattr(window, name)]
    assert max(len(one) for one in kept if isinstance(one, deque)) <= MOST_POINTS + 2
    assert sum(sys.getsizeof(one) for one in kept) < 1_000_000
