"""The limits a channel is checked by when its keeper says nothing, each with its reason; the keeper's own over them.

What water of a tank can do, with room to spare, against what a probe can say. Must not do: know an animal's needs.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from itertools import pairwise

from api.domain.checks import RISING, CheckLimits
from api.domain.errors import InputError
from api.domain.quantity import Quantity
from api.judge.quality import SPANS

POURED_L_MIN, POURED_C = 5.0, 15.0
"""The quickest change a keeper makes: a can of five litres a minute, 15 K off the tank's water (judgement)."""
POURED_MOST_C_MIN, POURED_LEAST_C_MIN = 5.0, 0.5
"""A probe near the can sees more than the mixed water, a small tank is not poured into at full speed (judgement)."""
USUAL_VOLUME_L = 40.0
"""Taken when a tank's volume is not known: a middling one of a crayfish room (judgement)."""
STUCK_S, STUCK_READINGS = 1500.0, 25.0
"""A restless probe is suspect when it says one number so long, or so many readings, and has failed after twice that:
25 minutes leave time in water that most faults take an hour or more to spoil, 25 readings alike are no chance. At 5
minutes between readings 15 were too few: a coarse probe in a tank whose heater had its last turn (simulated room)."""
STILL_S = 86_400.0
"""A probe that repeats itself (coarse steps, still water) is given a day and a night, which move all water. After half
a day, 1.6 % of benign readings of an oxygen probe in steps of 0.1 mg/L were suspect; after a whole one none (simulated
room, 4 days, 12 tanks)."""
NEIGHBOURS, GAP_LEAST_S = 5.0, 600.0
"""Silence of five readings, and of ten minutes at least, parts a series: a lost message or two do not (judgement)."""


@dataclass(frozen=True, slots=True)
class Nature:
    """What a quantity can do and what its probes can say, in its canonical unit (``None``: differs too much).

    ``quick_per_min``: the quickest change of a tank's water. ``noise``: scatter and steps of usual probes between two
    readings. ``step_least``, ``step_most``: what a single odd reading must stand off by to be seen, whatever the time
    between readings. ``absurd``: an odd reading that cannot be water. ``stirs``: the least that a day moves it.
    """

    quick_per_min: float | None
    noise: float
    step_least: float
    step_most: float
    absurd: float | None
    stirs: float | None


NATURES: dict[Quantity, Nature] = {
    # Quick: from the can, see ``_quick``. Noise: usual digital thermometers step by 0.0625 K and scatter by a step or
    # two. Odd: 0.5 K beside both neighbours is no water; a can moves a tank by some 2 K between two slow readings, half
    # of which shows as a spike. Absurd: one reading 5 K off. Stirs: more than one step of a fine probe.
    Quantity.TEMPERATURE: Nature(None, 0.2, 0.5, 1.2, 5.0, 0.015),
    # Quick: fresh water for a third of a starved tank in two minutes, (8 - 3) x 0.3 / 2 mg/L a minute; air after a stop
    # gives 0.5, animals take 0.1 (from kLa 1 to 4 per hour, 20 mg/L an hour at the very most). Noise: optical and
    # galvanic probes scatter by 0.01 to 0.1 mg/L and a bubble on the membrane passes in seconds.
    Quantity.OXYGEN: Nature(1.0, 0.3, 0.5, 3.0, 5.0, 0.015),
    # The same in percent: 1 mg/L is 12 % at 25 degC (Benson & Krause).
    Quantity.OXYGEN_SATURATION: Nature(12.0, 4.0, 6.0, 36.0, 60.0, 0.15),
    # Quick: buffer or acid poured in moves half a unit in a minute. Noise: 0.02 to 0.1 with a pump's stray current.
    Quantity.PH: Nature(0.5, 0.1, 0.3, 1.0, 3.0, None),
    # Quick: a front or an opened door moves 0.2 kPa; gusts 0.05. Odd: 1 kPa is 80 m of height.
    Quantity.PRESSURE: Nature(0.2, 0.1, 0.5, 1.0, 5.0, None),
}
"""Judgement where no source is named. Quantities left out (conductivity, which spans four powers of ten from tank to
tank, and what is measured by hand) are checked by their span, for silence and for a stuck probe only."""
BY_HAND = frozenset(
    {Quantity.AMMONIA, Quantity.NITRITE, Quantity.NITRATE, Quantity.HARDNESS, Quantity.ALKALINITY, Quantity.CALCIUM}
)
"""Measured now and then: the same result twice is no stuck probe, a week without one no gap."""
MAY_STAND_STILL = frozenset({Quantity.FLOW, Quantity.LEVEL})
"""A steady pump and a full tank say the same all day, as they should."""


def defaults(
    quantity: Quantity, every_s: float, volume_l: float | None = None, company: Quantity | None = None
) -> CheckLimits:
    """Limits for a probe that speaks every ``every_s`` in a tank of ``volume_l``.

    ``company`` is the quantity of another probe in the same water, where there is one to compare with.
    """
    every_s = max(every_s, 0.001)
    limits = SPANS.get(quantity, CheckLimits())
    if quantity in BY_HAND:
        return limits
    limits = replace(limits, gap_s=max(NEIGHBOURS * every_s, GAP_LEAST_S))
    if quantity not in MAY_STAND_STILL:
        stuck_s = max(STUCK_S, STUCK_READINGS * every_s)
        limits = replace(
            limits, flat_suspect_s=stuck_s, flat_fail_s=2 * stuck_s, flat_still_s=max(STILL_S, 2 * stuck_s)
        )
    nature = NATURES.get(quantity)
    if nature is None:
        return limits
    quick_per_min = nature.quick_per_min if nature.quick_per_min is not None else _quick(volume_l)
    # A ramp that begins or ends between two readings stands off their middle by half of what it moves in one interval.
    odd = min(max(nature.noise + quick_per_min * every_s / 120.0, nature.step_least), nature.step_most)
    limits = replace(
        limits, noise=nature.noise, rate_suspect_per_h=60.0 * quick_per_min, spike_suspect=odd, spike_fail=nature.absurd
    )
    if nature.stirs is not None:
        limits = replace(
            limits,
            attenuated_window_s=max(STILL_S, 2 * STUCK_READINGS * every_s),
            attenuated_suspect=nature.stirs,
        )
    return limits if company is None else _with_company(limits, nature, every_s, company)


def _quick(volume_l: float | None) -> float:
    """The quickest change of a tank's temperature. [K/min]

    Heaters are far slower: 50 W stuck on in 17 L is 2.5 K an hour.
    """
    mixed = POURED_L_MIN * POURED_C / max(volume_l or USUAL_VOLUME_L, 1.0)
    return min(max(mixed, POURED_LEAST_C_MIN), POURED_MOST_C_MIN)


def _with_company(limits: CheckLimits, nature: Nature, every_s: float, company: Quantity) -> CheckLimits:
    """A fifth of the quickest change, while the other stays within half of its own noise: judgement."""
    other = NATURES.get(company)
    if other is None:
        return limits
    return replace(
        limits,
        company_rate_per_h=60.0 * (nature.quick_per_min or POURED_LEAST_C_MIN) / 5.0,
        company_change=other.noise / 2,
        company_age_s=max(2 * every_s, 60.0),
    )


def merge(limits: CheckLimits, overrides: Mapping[str, float]) -> CheckLimits:
    """A keeper's own limits over the defaults, which give way where the two contradict each other.

    Raises InputError for a limit that does not exist, or when the keeper's own contradict each other.
    """
    names = [field.name for field in fields(CheckLimits)]
    for name, limit in overrides.items():
        if name not in names:
            raise InputError(f"checks.{name} is no limit of a check; use some of: {', '.join(names)}")
        if isinstance(limit, bool) or not isinstance(limit, int | float):
            raise InputError(f"checks.{name} = {limit!r} should be a number")
    merged = {**limits.given(), **overrides}
    for line in (*RISING, *(tuple(reversed(line)) for line in RISING)):
        for name, then in pairwise(line):
            _give_way(merged, overrides, name, then, rising=line in RISING)
    if merged.get("attenuated_fail") == merged.get("attenuated_suspect") and "attenuated_fail" not in overrides:
        merged.pop("attenuated_fail", None)
    if merged.get("flat_tolerance") and "flat_still_s" not in overrides:
        merged.pop("flat_still_s", None)
    return CheckLimits(**merged)  # type: ignore[arg-type]


def _give_way(merged: dict[str, float], overrides: Mapping[str, float], name: str, then: str, *, rising: bool) -> None:
    """Move a default that stands on the wrong side of the limit before it."""
    if name in merged and then in merged and then not in overrides:
        wrong = merged[then] < merged[name] if rising else merged[then] > merged[name]
        if wrong:
            merged[then] = merged[name]
