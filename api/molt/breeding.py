"""The breeding clock: from eggs seen to hatching by the tank's own temperature, and when the mother leaves her young.

Must not do: give a date from a mating alone; stored sperm can wait for months.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import erf, exp, hypot, sqrt
from statistics import NormalDist

import numpy as np

from api.domain.life import Clutch
from api.molt.clock import DAY_MS
from api.molt.species import PRACTICE, Species
from api.molt.warmth import Warmth

LOOK_D = 3.0
"""Eggs were laid at most so long before they were first seen, where no look before it is told. Judgement. [d]"""
MOTHER_LEAVES_D = 3.0
"""The mother is taken out this long after hatching at the latest (common practice, no source). [d]"""
NORMAL = NormalDist()
MATED_NOTE = (
    "Mated: sperm can be stored for months, so no date for eggs follows from it (common practice, no source); look"
    " under the tail, without lifting her out, when you feed."
)
CLUTCH_NOTES = (
    "About 300 eggs are usual in a grown female (common practice, no source).",
    "Eggs that stay dark brown are kept; orange ones that fall off were not fertilised (common practice, no source).",
    "A berried female does not molt: her molt clock stands still.",
)
YOUNG_NOTES = (
    "The young ride under her tail for 2 to 3 days (common practice, no source); take her out by day 3, but only when"
    " no young cling to her any more.",
    "Crowded or hungry mothers eat young.",
)


@dataclass(frozen=True, slots=True)
class ClutchOutlook:
    """What is expected of a clutch. Times None: too cold to tell, or already behind us.

    ``done`` is how far the eggs are, 1 = the usual time to hatch. ``mother_leaves_ms`` is the reminder, from hatching
    seen or expected; ``over_ms`` when the last young should have left her, by the species' figure.
    """

    done: float
    hatch_low_ms: int | None
    hatch_ms: int | None
    hatch_high_ms: int | None
    hatched: bool
    mother_leaves_ms: int | None
    over_ms: int | None
    known_share: float
    notes: tuple[str, ...]


def clutch_outlook(
    species: Species, clutch: Clutch, water: Warmth, now_ms: int, looked_before_ms: int | None = None
) -> ClutchOutlook:
    """Expected hatching with its 80 % window, from the rate of development over the tank's recorded temperature.

    ``looked_before_ms``: the last look at the mother without eggs; without one, LOOK_D before they were seen.
    """
    clock = water.clock(species.hatching, species.usual_c)
    notes = [] if species.known else ["no figures for this species: the window is very wide"]
    if clutch.hatched_ms is not None:
        return _hatched(species, clutch.hatched_ms, notes)
    eggs_ms = clutch.eggs_ms if clutch.eggs_ms is not None else now_ms
    before_ms = eggs_ms - round(LOOK_D * DAY_MS) if looked_before_ms is None else min(looked_before_ms, eggs_ms)
    laid_ms = (before_ms + eggs_ms) // 2
    ran, variance, known_d = (float(one) for one in clock.between(laid_ms, now_ms))
    days = max((now_ms - laid_ms) / DAY_MS, 1e-6)
    known = min(1.0, known_d / days)
    rate, rate_sd = clock.ahead(now_ms)
    spread = hypot(species.clutch.value, sqrt(variance), rate * (eggs_ms - before_ms) / DAY_MS / sqrt(12.0))
    if known < 0.8:
        notes.append(f"temperature known for {known:.0%} of the time since: the window is wider")
    if rate <= 0.0:
        notes.append("too cold for these eggs to develop: no date can be given")
        return ClutchOutlook(ran, None, None, None, False, None, None, known, (*notes, *CLUTCH_NOTES))
    spread = hypot(spread, max(0.0, 1.0 - ran) * rate_sd / rate)
    low, middle, high = (_when(ran, spread, share, rate, now_ms) for share in (0.1, 0.5, 0.9))
    leaves = middle + round(MOTHER_LEAVES_D * DAY_MS)
    over = middle + round(species.carried.value * DAY_MS)
    if ran > exp(2.0 * spread):
        notes.append("later than usual: look whether the eggs are still there, and alive")
    return ClutchOutlook(ran, low, middle, high, False, leaves, over, known, (*notes, *CLUTCH_NOTES))


def _when(ran: float, spread: float, share: float, rate: float, now_ms: int) -> int:
    """When a share of clutches like this, that has not hatched yet, will have."""
    gone = 0.5 * (1.0 + erf(np.log(max(ran, 1e-9)) / spread / sqrt(2.0)))
    at = min(gone + share * (1.0 - gone), 1.0 - 1e-9)
    return now_ms + round(max(0.0, exp(spread * NORMAL.inv_cdf(max(at, 1e-9))) - ran) / rate * DAY_MS)


def _hatched(species: Species, hatched_ms: int, notes: list[str]) -> ClutchOutlook:
    leaves = hatched_ms + round(MOTHER_LEAVES_D * DAY_MS)
    over = hatched_ms + round(species.carried.value * DAY_MS)
    carried = species.carried
    longer = () if carried.source == PRACTICE else (f"Published: {carried.note} ({carried.source}).",)
    return ClutchOutlook(1.0, None, None, None, True, leaves, over, 1.0, (*notes, *YOUNG_NOTES, *longer))


COLOURS = (
    (("orange", "white", "fuzz", "mould", "mold", "pale"),
     "orange eggs that fall off were not fertilised, white fuzz is fungus (common practice, no source)"),
    (("brown", "dark", "olive", "black", "green"), "dark eggs that stay dark are kept (common practice, no source)"),
    (("red", "clear", "eye"), "eyes show through or the eggs clear: hatching is near (common practice, no source)"),
)  # fmt: skip


def colour_note(colour: str) -> str | None:
    """What keepers read from the colour of eggs; None for a colour nobody told us anything of."""
    words = colour.casefold()
    return next((note for names, note in COLOURS if any(name in words for name in names)), None)


def brood_left_d(species: Species, clutch: Clutch, water: Warmth, now_ms: int) -> float:
    """How long a mother will go on carrying eggs or young, at the middle of what is expected. [d]"""
    found = clutch_outlook(species, clutch, water, now_ms)
    return UNTOLD_D if found.over_ms is None else max(0.0, (found.over_ms - now_ms) / DAY_MS)


UNTOLD_D = 60.0
"""A brood whose end cannot be told, for it is too cold, is taken to last so long from now. Judgement. [d]"""
