"""The review before a cluster: each point's rule, the verdict they make, and the whole of it on a real store."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from api.domain.care import WARM_WATER
from api.domain.errors import InputError, NotFound
from api.domain.husbandry import EventKind, KitValue
from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from api.judge.conditions import means_of
from api.molt.readiness import DAY_MS, Finding, Point, Verdict, reviewed
from api.molt.readiness_keeping import (
    DueAnimal,
    ProbeState,
    Sampled,
    ammonia_finding,
    company_finding,
    hardness_findings,
    probes_finding,
)
from api.molt.readiness_water import grace_finding, quantity_finding, stagnation_finding, swing_finding
from api.molt.water_kept import Kept, kept
from tests.support.colony import log, settle
from tests.support.rooms import TestRoom, room

OXYGEN, WARM = (WARM_WATER.range_of(one) for one in (Quantity.OXYGEN, Quantity.TEMPERATURE))
NOW_MS = 1_800_000_000_000
SPAN_MS = 300_000
assert OXYGEN is not None
assert WARM is not None


def water(values: list[float], start_ms: int = 0) -> Kept:
    """Means of five minutes each, kept over their own time."""
    rows = [(start_ms + at * SPAN_MS, one, one - 0.1, one + 0.1) for at, one in enumerate(values)]
    assert OXYGEN is not None
    return kept(means_of(rows, SPAN_MS), OXYGEN, start_ms, start_ms + len(values) * SPAN_MS)


def test_shares_hours_and_extremes_beside_numpy() -> None:
    """Counted again by hand with NumPy on a day of noise; the swing beside every pair within 24 hours."""
    rng = np.random.default_rng(7)
    values = 6.0 + np.cumsum(rng.normal(0.0, 0.15, 500))
    found = water(values.tolist())
    assert found.known == 1.0
    assert found.in_target == pytest.approx(float((values >= 6.0).mean()))
    assert found.below_h == pytest.approx(float((values < 5.0).sum()) / 12.0)
    assert (found.lowest, found.highest) == pytest.approx((values.min() - 0.1, values.max() + 0.1))
    pairs = [np.ptp(values[at : at + 288]) for at in range(values.size)]
    assert found.swing == pytest.approx(max(pairs))


def test_a_gap_is_not_known_and_a_short_record_says_so() -> None:
    """Half a day of a week is no week."""
    assert OXYGEN is not None
    spans = means_of([(at * SPAN_MS, 8.0, 8.0, 8.0) for at in range(144)], SPAN_MS)
    week = kept(spans, OXYGEN, 0, 7 * DAY_MS)
    assert week.known == pytest.approx(0.5 / 7.0)
    assert quantity_finding(Quantity.OXYGEN, week, week, OXYGEN).verdict is Verdict.NOT_KNOWN
    with pytest.raises(ValueError, match="before"):
        kept(spans, OXYGEN, 5, 5)


@pytest.mark.parametrize(
    ("values", "verdict", "words"),
    [
        ([8.0] * 2016, Verdict.FIT, "in target 100 % of the last 7 days"),
        ([8.0] * 1700 + [5.5] * 316, Verdict.FIX_FIRST, "84 %"),
        ([8.0] * 2006 + [4.5] * 10, Verdict.FIX_FIRST, "50 min outside the tolerable band"),
    ],
)
def test_oxygen_of_a_week(values: list[float], verdict: Verdict, words: str) -> None:
    """Nine tenths of the time in target, and less than half an hour beyond the tolerable band."""
    week = water(values)
    assert OXYGEN is not None
    found = quantity_finding(Quantity.OXYGEN, week, week, OXYGEN)
    assert found.verdict is verdict
    assert words in found.words
    assert bool(found.task) == (verdict is not Verdict.FIT)


def test_swings_standing_water_and_grace() -> None:
    """Three kelvins a day (from memory); any hour without air; a night of ten hours without anybody."""
    assert swing_finding(water([25.0] * 1000 + [28.5] * 1016)).verdict is Verdict.FIX_FIRST
    assert swing_finding(water([25.0] * 1000 + [27.0] * 1016)).verdict is Verdict.FIT
    assert stagnation_finding(0.0, True).verdict is Verdict.FIT
    assert stagnation_finding(1.5, True).verdict is Verdict.FIX_FIRST
    assert stagnation_finding(0.0, False).decides is False
    assert grace_finding((2.0, 3.0)).verdict is Verdict.FIX_FIRST
    assert grace_finding((2.0, 3.0)).decides
    assert grace_finding((12.0, 20.0)).verdict is Verdict.FIT
    assert grace_finding((720.0, 720.0)).words.count("more than 3 days") == 2
    assert (grace_finding(None).verdict, grace_finding(None).decides) == (Verdict.NOT_KNOWN, False)


def test_hardness_and_calcium() -> None:
    """Below 50 mg/L as CaCO3 (Queensland red claw guide) is to be mended; one fresh test of the two is enough."""

    def both(hard: float | None, lime: float | None, age_d: float = 1.0) -> list[tuple[Verdict, bool]]:
        when = NOW_MS - round(age_d * DAY_MS)
        pair = (Sampled(hard, when) if hard is not None else None, Sampled(lime, when) if lime is not None else None)
        return [(one.verdict, one.decides) for one in hardness_findings(*pair, NOW_MS)]

    assert both(49.0, None) == [(Verdict.FIX_FIRST, True), (Verdict.NOT_KNOWN, False)]
    assert both(120.0, None) == [(Verdict.FIT, True), (Verdict.NOT_KNOWN, False)]
    assert both(None, 15.0) == [(Verdict.NOT_KNOWN, False), (Verdict.FIX_FIRST, True)]
    assert both(120.0, 40.0, age_d=15.0) == [(Verdict.NOT_KNOWN, True), (Verdict.NOT_KNOWN, True)]


@pytest.mark.parametrize(("total_mg_l", "verdict"), [(1.84, Verdict.FIT), (1.96, Verdict.FIX_FIRST)])
def test_ammonia_beside_the_criterion(total_mg_l: float, verdict: Verdict) -> None:
    """EPA 822-R-13-001 prints 1.9 mg/L as N at pH 7 and 20 C, the chronic criterion's reference point."""
    found = ammonia_finding(Sampled(total_mg_l, NOW_MS), Sampled(7.0, NOW_MS), 20.0, NOW_MS)
    assert found.verdict is verdict
    assert "pH not known" in ammonia_finding(Sampled(0.1, NOW_MS), None, 20.0, NOW_MS).words


def test_probes_and_company() -> None:
    """Quiet or doubtful probes are to be mended, uncalibrated ones make the tank not known; the soft must be alone."""
    good = ProbeState("p1", 0.0, False, False)
    assert probes_finding([good]).verdict is Verdict.FIT
    assert probes_finding([]).verdict is Verdict.NOT_KNOWN
    assert probes_finding([good, ProbeState("p2", 0.2, False, False)]).verdict is Verdict.FIX_FIRST
    assert probes_finding([ProbeState("p2", 0.0, True, False)]).verdict is Verdict.NOT_KNOWN
    due = [DueAnimal("Ada", 0.8, NOW_MS)]
    assert company_finding(1, 0, due).verdict is Verdict.FIT
    assert company_finding(2, 0, due).verdict is Verdict.FIX_FIRST
    assert company_finding(2, 0, []).verdict is Verdict.FIT
    assert company_finding(2, 1, []).verdict is Verdict.FIX_FIRST


def test_the_worst_that_decides_says_it_and_tasks_have_days() -> None:
    """What should have been done already is due now; nothing known is never fit."""
    fit, aside = (
        Finding(Point.OXYGEN, Verdict.FIT, ""),
        Finding(Point.SHELTER, Verdict.NOT_KNOWN, "", "Look.", 1, False),
    )
    bad = Finding(Point.HARDNESS, Verdict.FIX_FIRST, "", "Mend.", 5.0)
    assert reviewed("a", [], None, 0, 0).verdict is Verdict.NOT_KNOWN
    assert reviewed("a", [fit, aside], None, 0, 0).verdict is Verdict.FIT
    made = reviewed("a", [fit, aside, bad], 3 * DAY_MS, 0, DAY_MS)
    assert made.verdict is Verdict.FIX_FIRST
    assert made.findings[0] is bad
    assert [(one.by_ms, one.words) for one in made.tasks] == [(DAY_MS, "Mend."), (2 * DAY_MS, "Look.")]


@pytest.fixture
def lab(tmp_path: Path) -> Iterator[TestRoom]:
    """Two tanks, one of them with a week of good water on record."""
    with room(tmp_path) as one:
        end_ms = one.now_ms
        for at in range(8 * 48, -1, -1):
            one.now_ms = end_ms - at * 1_800_000 + 60_000
            one.take(
                RawReading("p1", Quantity.TEMPERATURE, one.now_ms, 26.0 + 0.01 * (at % 7), "Cel"),
                RawReading("p1", Quantity.OXYGEN, one.now_ms, 7.4 + 0.01 * (at % 5), "mg/L"),
            )
        yield one


def test_a_room_is_reviewed(lab: TestRoom) -> None:
    """Due animals, test-kit values and the calibration that is missing are found; nothing is invented for t2."""
    animal = settle(lab, "Ada", "t1", days_ago=120, carapace_mm=16.0)
    for days_ago in range(108, 8, -10):
        log(lab, EventKind.MOLT, animal, days_ago=days_ago)
    kit = (KitValue(Quantity.HARDNESS, 40.0, 40.0, "mg/L"), KitValue(Quantity.AMMONIA, 0.1, 0.1, "mg/L"))
    log(lab, EventKind.TESTED, tank="t1", days_ago=2, tested=kit)
    review = lab.service.review
    made = review.review(None, lab.now_ms, lab.now_ms + 14 * DAY_MS, lab.now_ms)
    assert [one.tank for one in made.tanks] == ["t1"]
    assert not made.fit
    found = {one.point: one for one in made.tanks[0].findings}
    assert found[Point.HARDNESS].verdict is Verdict.FIX_FIRST
    assert found[Point.AMMONIA].verdict is Verdict.FIT
    assert found[Point.COMPANY].words == "one animal, alone"
    assert "never" not in found[Point.AMMONIA].words
    assert "2 days ago" in found[Point.AMMONIA].words
    assert found[Point.DUE].words.startswith("may molt in these days: Ada (")
    assert "p1" in found[Point.PROBES].words
    assert any("Raise hardness" in task.words for task in made.tasks)
    both = review.review(["t1", "t2"], lab.now_ms, lab.now_ms + 14 * DAY_MS, lab.now_ms)
    other = next(one for one in both.tanks if one.tank == "t2")
    assert {one.point for one in other.findings if one.verdict is Verdict.FIX_FIRST} == {Point.PROBES}
    assert found[Point.TEMPERATURE].verdict is Verdict.NOT_KNOWN  # a reading each half hour: five minutes of each


def test_spans_that_cannot_be_reviewed(lab: TestRoom) -> None:
    """Backwards, over, too long, or of a tank that is not there: said in words."""
    ask, now_ms = lab.service.review.review, lab.now_ms
    with pytest.raises(InputError, match="ends after it starts"):
        ask(None, now_ms + 2, now_ms + 1, now_ms)
    with pytest.raises(InputError, match="looks ahead"):
        ask(None, now_ms - 2 * DAY_MS, now_ms - DAY_MS, now_ms)
    with pytest.raises(InputError, match="60 days"):
        ask(None, now_ms, now_ms + 90 * DAY_MS, now_ms)
    with pytest.raises(NotFound, match="no tank 'x'; tanks: t1, t2"):
        ask(["x"], now_ms, now_ms + DAY_MS, now_ms)


def test_the_command_prints_it_while_the_service_runs(lab: TestRoom) -> None:
    """Exit code 1 with something to do, 2 for a tank that is not there."""
    command = [sys.executable, "-m", "api.cli", "review", "--data", str(lab.folder / "data"), "--tanks"]
    done = subprocess.run([*command, "t1,t2"], capture_output=True, text=True, check=False)
    assert done.returncode == 1
    assert "What to do by when:" in done.stdout
    assert "t2: fix first" in done.stdout
    wrong = subprocess.run([*command, "nowhere"], capture_output=True, text=True, check=False)
    assert wrong.returncode == 2
    assert "no tank 'nowhere'" in wrong.stderr
