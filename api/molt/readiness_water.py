"""The points of a review that the water's record answers: temperature, its swing, oxygen, standing water, grace time.

Shares, hours and leads that are not a care range's are judgement. Must not do: read anything.
"""

from __future__ import annotations

from api.domain.care import CareRange
from api.domain.quantity import MEANING, Quantity
from api.domain.words import duration
from api.molt.readiness import Finding, Point, Verdict
from api.molt.water_kept import Kept

ENOUGH_KNOWN = 0.8
"""Below this share of the last week with readings nothing is said of it: judgement. [1]"""
ENOUGH_IN_TARGET = 0.9
"""Judgement. [1]"""
MOST_SWING_C = 3.0
"""Changes should stay below 3 C a day (from memory). [K]"""
NIGHT_H = 10.0
"""From evening to morning, when nobody is there: judgement. [h]"""


def quantity_finding(quantity: Quantity, week: Kept, fortnight: Kept, care: CareRange) -> Finding:
    """How a quantity kept in its range over the last 7 and 14 days."""
    point = Point.TEMPERATURE if quantity is Quantity.TEMPERATURE else Point.OXYGEN
    label = MEANING[quantity].label
    if week.in_target is None or week.known < ENOUGH_KNOWN:
        words = f"{label} is known for {_share(week.known)} of the last 7 days"
        return Finding(point, Verdict.NOT_KNOWN, words, f"See that the tank's {label} is measured day and night.", 7.0)
    said = [f"in target {_share(week.in_target)} of the last 7 days"]
    if fortnight.in_target is not None:
        said.append(f"{_share(fortnight.in_target)} of the last 14")
    words = f"{label} {', '.join(said)}{_extreme(quantity, fortnight)}"
    if week.below_h > 0.0 or week.above_h > 0.0:
        beyond = duration((week.below_h + week.above_h) * 3600.0)
        words += f"; {beyond} outside the tolerable band in the last 7 days"
    bad = week.in_target < ENOUGH_IN_TARGET or week.below_h + week.above_h >= 0.5
    if not bad:
        return Finding(point, Verdict.FIT, words)
    return Finding(point, Verdict.FIX_FIRST, words, _water_task(quantity, week, care), 3.0)


def _extreme(quantity: Quantity, span: Kept) -> str:
    meaning = MEANING[quantity]
    if span.lowest is None or span.highest is None:
        return ""
    unit = f" {meaning.unit_label}"
    if quantity is Quantity.TEMPERATURE:
        return f"; {span.lowest:.{meaning.decimals}f} to {span.highest:.{meaning.decimals}f}{unit}"
    lasted = f", {duration(span.below_h * 3600.0)} below the tolerable band" if span.below_h > 0.0 else ""
    return f"; lowest {span.lowest:.{meaning.decimals}f}{unit}{lasted}"


def _water_task(quantity: Quantity, week: Kept, care: CareRange) -> str:
    meaning = MEANING[quantity]
    low, high = care.target_low, care.target_high
    band = " to ".join(f"{one:.{meaning.decimals}f}" for one in (low, high) if one is not None)
    goal = f"{'' if low is not None and high is not None else 'above ' if high is None else 'below '}{band}"
    if quantity is not Quantity.TEMPERATURE:
        return f"More air and moving water until oxygen stays {goal} {meaning.unit_label} at night as well."
    warm = week.above_h > week.below_h
    return f"Set the {'cooling' if warm else 'heating'} so that the water stays {goal} {meaning.unit_label}; go slowly."


def swing_finding(week: Kept) -> Finding:
    """The largest change of temperature within a day."""
    if week.swing is None or week.known < ENOUGH_KNOWN:
        return Finding(Point.SWING, Verdict.NOT_KNOWN, "the swing of temperature is not known", decides=False)
    words = f"temperature swings by up to {week.swing:.1f} °C within a day"
    if week.swing <= MOST_SWING_C:
        return Finding(Point.SWING, Verdict.FIT, words)
    return Finding(
        Point.SWING, Verdict.FIX_FIRST, words, f"Steady the water: less than {MOST_SWING_C:g} °C a day.", 3.0
    )


def stagnation_finding(hours: float, watched: bool) -> Finding:
    """Hours in the last 14 days in which the air or the pump seemed to have stopped."""
    if not watched:
        words = "no oxygen probe watches whether the water moves"
        return Finding(Point.STAGNATION, Verdict.NOT_KNOWN, words, "Look at airstone and pump each day.", 1.0, False)
    if hours <= 0.0:
        return Finding(Point.STAGNATION, Verdict.FIT, "no sign of standing water in the last 14 days")
    words = f"the air or the pump seemed to have stopped for {duration(hours * 3600.0)} in the last 14 days"
    task = "Clean or renew airstone, airline and pump; check the check valve; dry hands, unplug first."
    return Finding(Point.STAGNATION, Verdict.FIX_FIRST, words, task, 3.0)


def grace_finding(hours: tuple[float, float] | None) -> Finding:
    """How long the animals have if the air stops at night; ``hours`` from the pessimistic to the middle value [h]."""
    if hours is None:
        words = "how long the water lasts without air is not known"
        return Finding(Point.GRACE, Verdict.NOT_KNOWN, words, "Make an air test, by day, and stay with it.", 3.0, False)
    low, middle = hours
    words = f"without air the water lasts {_hours(middle)} (at worst {_hours(low)})"
    if low >= NIGHT_H:
        return Finding(Point.GRACE, Verdict.FIT, words)
    task = "Give the tank a second airstone on another pump, or air that runs on a battery, for the nights."
    return Finding(Point.GRACE, Verdict.FIX_FIRST if middle < 4.0 else Verdict.FIT, words, task, 2.0, middle < 4.0)


def _hours(one: float) -> str:
    return "more than 3 days" if one > 72.0 else f"about {duration(one * 3600.0)}"


def _share(one: float) -> str:
    return f"{100.0 * one:.0f} %"
