"""Limits of the checks: contradictions are refused in words, usual ones hold for all quantities, keepers' own win."""

from __future__ import annotations

from dataclasses import fields

import pytest

from api.domain.checks import TESTS, CheckLimits
from api.domain.errors import InputError
from api.domain.quantity import Quantity
from api.judge.check_defaults import BY_HAND, defaults, merge

REFUSED: list[tuple[dict[str, float], str]] = [
    ({"fail_low": 5.0, "fail_high": 1.0}, "fail_low 5 is above fail_high 1"),
    ({"fail_high": 40.0, "suspect_high": 45.0}, "suspect_high 45 is above fail_high 40: suspect limits lie inside"),
    ({"suspect_low": 30.0, "suspect_high": 20.0}, "low below high"),
    ({"spike_suspect": 2.0, "spike_fail": 1.0, "gap_s": 60.0}, "what is suspect comes before what fails"),
    ({"rate_suspect_per_h": 2.0, "rate_fail_per_h": 1.0, "gap_s": 60.0}, "rate_suspect_per_h 2 is above"),
    ({"flat_suspect_s": 7200.0, "flat_fail_s": 3600.0, "gap_s": 60.0}, "flat_suspect_s 7200 is above flat_fail_s"),
    ({"flat_suspect_s": 1.0, "flat_fail_s": 9.0, "flat_still_s": 5.0, "gap_s": 60.0}, "a still probe is given more"),
    ({"flat_suspect_s": 1.0, "flat_still_s": 5.0, "gap_s": 60.0}, "also give flat_suspect_s and flat_fail_s"),
    (
        {"flat_suspect_s": 1.0, "flat_fail_s": 2.0, "flat_still_s": 5.0, "flat_tolerance": 0.1, "gap_s": 60.0},
        "needs flat_tolerance 0",
    ),
    (
        {"attenuated_window_s": 60.0, "attenuated_suspect": 0.1, "attenuated_fail": 0.2, "gap_s": 60.0},
        "attenuated_fail 0.2 is above attenuated_suspect 0.1: a signal that moves less is worse",
    ),
    (
        {"attenuated_window_s": 60.0, "attenuated_suspect": 0.1, "attenuated_fail": 0.1, "gap_s": 60.0},
        "attenuated_fail equals attenuated_suspect",
    ),
    ({"attenuated_window_s": 60.0, "gap_s": 60.0}, "also give attenuated_suspect"),
    ({"attenuated_fail": 0.1}, "also give attenuated_window_s"),
    (
        {"attenuated_window_s": 60.0, "attenuated_suspect": 0.1, "attenuated_least": 2.5, "gap_s": 60.0},
        "a number of readings",
    ),
    ({"company_rate_per_h": 1.0, "gap_s": 60.0}, "also give company_change, company_age_s"),
    ({"spike_suspect": 1.0}, "spike_suspect needs gap_s"),
    ({"noise": -0.1}, "noise is -0.1; it cannot be negative"),
    ({"gap_s": 0.0}, "gap_s is 0; it must be more"),
    ({"fail_high": float("nan")}, "fail_high is nan, not a finite number"),
]


@pytest.mark.parametrize(("given", "words"), REFUSED, ids=[words for _, words in REFUSED])
def test_contradictions_are_refused_in_words(given: dict[str, float], words: str) -> None:
    """QARTOD asks for suspect inside fail, LOW below HIGH for spikes, WARN above FAIL for attenuated signals."""
    with pytest.raises(InputError) as raised:
        CheckLimits(**given)  # type: ignore[arg-type]
    assert words in str(raised.value)


@pytest.mark.parametrize("quantity", list(Quantity))
@pytest.mark.parametrize("every_s", [0.1, 1.0, 10.0, 60.0, 600.0, 3600.0])
@pytest.mark.parametrize("volume_l", [None, 0.0, 5.0, 17.0, 2000.0])
def test_usual_limits_hold(quantity: Quantity, every_s: float, volume_l: float | None) -> None:
    """For every probe and tank; what is measured by hand is asked for its span alone."""
    limits = defaults(quantity, every_s, volume_l, company=quantity)
    assert (limits.tests == ("gross",)) == (quantity in BY_HAND)
    assert limits.past_s < 86_400 + 2000 * max(every_s, 600)


def test_which_tests_are_usual() -> None:
    """All of them where water and probes are known well, and company where there is some."""
    assert defaults(Quantity.TEMPERATURE, 10.0, company=Quantity.TEMPERATURE).tests == TESTS
    assert defaults(Quantity.OXYGEN, 10.0).tests == TESTS[:-1]
    assert defaults(Quantity.CONDUCTIVITY, 10.0).tests == ("gross", "gap", "flat")
    assert defaults(Quantity.LEVEL, 10.0).tests == ("gross", "gap")


def test_small_tanks_may_change_faster() -> None:
    """5 L a minute 15 K off: 17 L change by 4.4 K in a minute, 100 L by 0.75 K (mixing)."""
    small, large = (defaults(Quantity.TEMPERATURE, 60.0, litres) for litres in (17.0, 100.0))
    assert small.rate_suspect_per_h == pytest.approx(5 * 15 / 17 * 60)
    assert large.rate_suspect_per_h == pytest.approx(5 * 15 / 100 * 60)


def test_a_heater_stuck_on_is_no_fault_of_the_probe() -> None:
    """50 W in 17 L is 2.5 K an hour: far from every limit of rate."""
    limits = defaults(Quantity.TEMPERATURE, 10.0, 17.0)
    assert limits.rate_suspect_per_h is not None
    assert limits.rate_suspect_per_h > 10 * 2.5


def test_a_keepers_own_limits_win() -> None:
    """Defaults give way where they would contradict them."""
    usual = defaults(Quantity.TEMPERATURE, 60.0)
    assert merge(usual, {}) == usual
    assert merge(usual, {"fail_high": 40.0}).suspect_high == 40.0
    assert merge(usual, {"suspect_low": -8.0}).fail_low == -8.0
    assert merge(usual, {"spike_suspect": 9.0}).spike_fail == 9.0
    assert merge(usual, {"flat_fail_s": 600.0}).flat_suspect_s == 600.0
    longer = merge(usual, {"flat_suspect_s": 172_800.0})
    assert (longer.flat_fail_s, longer.flat_still_s) == (172_800.0, 172_800.0)
    shorter = merge(usual, {"flat_still_s": 600.0})
    assert (shorter.flat_suspect_s, shorter.flat_fail_s) == (600.0, 600.0)
    assert merge(usual, {"flat_tolerance": 0.02}).flat_still_s is None
    assert merge(usual, {"attenuated_suspect": 0.5}).attenuated_suspect == 0.5
    assert merge(usual, {"company_rate_per_h": 6, "company_change": 0.1, "company_age_s": 90}).tests == TESTS


def test_a_keepers_mistakes_are_told() -> None:
    """Unknown names with the ones there are; no number; own limits against each other."""
    usual = defaults(Quantity.TEMPERATURE, 60.0)
    with pytest.raises(InputError, match=r"checks\.spike is no limit of a check; use some of: fail_low.*spike_suspect"):
        merge(usual, {"spike": 1.0})
    with pytest.raises(InputError, match=r"checks\.gap_s = True should be a number"):
        merge(usual, {"gap_s": True})
    with pytest.raises(InputError, match="spike_suspect 3 is above spike_fail 2"):
        merge(usual, {"spike_suspect": 3.0, "spike_fail": 2.0})


def test_every_limit_can_be_set_by_a_keeper() -> None:
    """One by one, over the usual limits."""
    usual = defaults(Quantity.TEMPERATURE, 60.0, company=Quantity.TEMPERATURE)
    for field in fields(CheckLimits):
        value = getattr(usual, field.name) or 0.001
        assert getattr(merge(usual, {field.name: value}), field.name) == value
