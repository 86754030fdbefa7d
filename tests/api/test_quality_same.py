"""Live and in one go are the same checks: flags and reasons of a stream, a whole series and a restart agree exactly."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from api.domain.checks import CheckLimits
from api.domain.errors import InputError
from api.domain.quantity import Quantity
from api.domain.reading import Flag
from api.judge import check_windows
from api.judge.check_batch import check
from api.judge.check_seed import seed
from api.judge.check_stream import Step, Stream

START_MS = 1_700_000_000_000
Told = tuple[Flag, str]


@dataclass(frozen=True)
class Case:
    """A series with everything that comes with it."""

    times_ms: list[int]
    values: list[float | None]
    bases: list[Told]
    company: list[tuple[int, float]]

    def __len__(self) -> int:
        return len(self.times_ms)

    def beside(self, time_ms: int) -> tuple[int, float] | None:
        """What the probe beside it had said up to a time."""
        return max((one for one in self.company if one[0] <= time_ms and one[1] == one[1]), default=None)


LEVELS = st.sampled_from([-127.0, 0.2, 24.9, 25.0, 25.0, 25.1, 25.2, 27.0, 30.0, 77.0, 298.2, None])
STEPS_MS = st.sampled_from([1, 500, 1000, 1000, 1000, 2000, 3500, 9000, 30_000])
BASES: list[Told] = [(Flag.GOOD, "")] * 12 + [
    (Flag.NOT_EVALUATED, "temperature is not known"),
    (Flag.SUSPECT, "from a suspect temperature"),
    (Flag.FAIL, "unit unknown"),
    (Flag.MISSING, ""),
]


@st.composite
def pieces(draw: st.DrawFn) -> list[tuple[int, float | None]]:
    """Steps of time and values: single ones, restless stretches, stretches of one number, slow ramps."""
    kind = draw(st.sampled_from(["single", "single", "restless", "stuck", "ramp"]))
    step_ms = draw(STEPS_MS)
    if kind == "single":
        return [(step_ms, draw(LEVELS))]
    if kind == "stuck":
        return [(step_ms, draw(LEVELS))] * draw(st.integers(2, 130))
    length = draw(st.integers(2, 40))
    if kind == "ramp":
        slope = draw(st.sampled_from([0.01, -0.03, 0.125]))
        return [(step_ms, 25.0 + slope * i) for i in range(length)]
    return [(step_ms, 25.0 + draw(st.integers(-2, 2)) / 64) for _ in range(length)]


@st.composite
def cases(draw: st.DrawFn) -> Case:
    """A series, sometimes out of order, with what was held against it before and the probe beside it."""
    time_ms = START_MS + draw(st.integers(0, 5000))
    times_ms: list[int] = []
    values: list[float | None] = []
    for piece in draw(st.lists(pieces(), max_size=9)):
        for step_ms, value in piece:
            time_ms += step_ms
            times_ms.append(time_ms)
            values.append(value)
    if times_ms and draw(st.integers(0, 4)) == 0:
        place = draw(st.integers(0, len(times_ms) - 1))
        times_ms[place] -= draw(st.sampled_from([1000, 5000, 60_000]))
    plain = draw(st.booleans())
    bases = [(Flag.GOOD, "") if plain else draw(st.sampled_from(BASES)) for _ in times_ms]
    company: list[tuple[int, float]] = []
    if draw(st.booleans()):
        beside_ms = START_MS
        for _ in range(draw(st.integers(0, 40))):
            beside_ms += draw(STEPS_MS)
            company.append((beside_ms, draw(st.sampled_from([25.0, 25.05, 26.0, float("nan")]))))
    return Case(times_ms, values, bases, company)


@st.composite
def limits(draw: st.DrawFn) -> CheckLimits:
    """Any set of tests."""
    some: dict[str, float] = {}
    if draw(st.booleans()):
        some |= {"fail_low": -5.0, "fail_high": 60.0, "suspect_low": 0.5, "suspect_high": 29.0}
    if draw(st.booleans()):
        some |= {"spike_suspect": 0.05, "spike_fail": 1.5}
    if draw(st.booleans()):
        some |= {"rate_suspect_per_h": 300.0, "noise": draw(st.sampled_from([0.0, 0.05]))}
        some |= {"rate_fail_per_h": 4000.0} if draw(st.booleans()) else {}
    flat = draw(st.sampled_from(["none", "exact", "still", "within"]))
    if flat != "none":
        some |= {"flat_suspect_s": 4.0, "flat_fail_s": 9.5}
        some |= {"still": {"flat_still_s": 30.0}, "within": {"flat_tolerance": 0.1}}.get(flat, {})
    if draw(st.booleans()):
        some |= {"attenuated_window_s": draw(st.sampled_from([3.0, 12.0])), "attenuated_suspect": 0.06}
        some |= {"attenuated_least": draw(st.integers(1, 4))}
        some |= {"attenuated_fail": 0.02} if draw(st.booleans()) and flat != "still" else {}
    if draw(st.booleans()):
        some |= {"company_rate_per_h": 100.0, "company_change": 0.2, "company_age_s": 5.0}
    return CheckLimits(**some, gap_s=draw(st.sampled_from([2.5, 10.0])))  # type: ignore[arg-type]


def walk(stream: Stream, case: Case, first: int = 0) -> list[Step]:
    """One by one."""
    rows = list(zip(case.times_ms, case.values, case.bases, strict=True))
    return [stream.step(time, value, *base, company=case.beside) for time, value, base in rows[first:]]


def final(case: Case, steps: list[Step]) -> list[Told]:
    """What has become of each reading in the end."""
    told = [(step.flag, step.reason) for step in steps]
    newest: dict[int, int] = {}
    for place, (time_ms, step) in enumerate(zip(case.times_ms, steps, strict=True)):
        if step.revised is not None:
            told[newest[step.revised.time_ms]] = (step.revised.flag, step.revised.reason)
        newest.setdefault(time_ms, place)
    return told


def in_one_go(case: Case, given_limits: CheckLimits, known_failed: list[bool] | None = None) -> list[Told]:
    """The same series as arrays."""
    values = np.array([np.nan if value is None else value for value in case.values], dtype=np.float64)
    checked = check(
        np.array(case.times_ms, dtype=np.int64),
        values,
        given_limits,
        Quantity.TEMPERATURE,
        np.array([flag for flag, _ in case.bases], dtype=np.int8),
        [reason for _, reason in case.bases],
        np.array([time for time, _ in case.company], dtype=np.int64),
        np.array([value for _, value in case.company], dtype=np.float64),
        None if known_failed is None else np.array(known_failed, dtype=bool),
    )
    assert set(checked.tests) == set(given_limits.tests)
    return [(Flag(flag), checked.reason(place)) for place, flag in enumerate(checked.flags.tolist())]


@settings(deadline=None)
@given(cases(), limits(), st.sampled_from([5, 16_384]))
def test_one_by_one_and_in_one_go(case: Case, given_limits: CheckLimits, most: int) -> None:
    """Irregular times, no value, failures, gaps, ties, runs, company; also where a window thins its readings."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(check_windows, "MOST_POINTS", most)
        one_by_one = final(case, walk(Stream(given_limits, Quantity.TEMPERATURE), case))
        assert one_by_one == in_one_go(case, given_limits)
    for (flag, reason), value in zip(one_by_one, case.values, strict=True):
        assert (reason == "") == (flag is Flag.GOOD)
        assert (flag is Flag.GOOD) <= (value is not None)


@settings(deadline=None)
@given(cases(), limits(), st.floats(0, 1), st.sampled_from([5, 16_384]))
def test_a_restart_changes_nothing(case: Case, given_limits: CheckLimits, share: float, most: int) -> None:
    """A stream rebuilt from the last ``past_s`` of kept readings and one before goes on as if it had never stopped."""
    if sorted(set(case.times_ms)) != case.times_ms:
        return  # what came out of order is told as such only while the stream runs
    cut = int(share * len(case))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(check_windows, "MOST_POINTS", most)
        stream = Stream(given_limits, Quantity.TEMPERATURE)
        whole = walk(stream, case)
        begun = Case(case.times_ms[:cut], case.values[:cut], case.bases[:cut], [])
        kept = final(begun, whole[:cut])
        since_ms = begun.times_ms[-1] - given_limits.past_s * 1000 if cut else 0
        first = next((i for i in range(cut) if case.times_ms[i] >= since_ms), cut)
        rows = range(max(0, first - 1), cut)
        again = seed(
            Stream(given_limits, Quantity.TEMPERATURE),
            [case.times_ms[i] for i in rows],
            [case.values[i] for i in rows],
            [kept[i][0] for i in rows],
            [case.bases[i] for i in rows],
            case.beside,
        )
        assert walk(again, case, cut) == whole[cut:]
        part = slice(rows.start, None)
        late = Case(case.times_ms[part], case.values[part], case.bases[part], case.company)
        failed = [flag is Flag.FAIL for flag, _ in kept[part]] + [False] * (len(case) - cut)
        assert in_one_go(late, given_limits, failed)[len(rows) :] == final(case, whole)[cut:]


def test_contradicting_limits_are_refused() -> None:
    """The strategy above makes only limits that hold; these do not."""
    with pytest.raises(InputError, match="suspect limits lie inside fail limits"):
        CheckLimits(fail_low=0.0, suspect_low=-1.0)
