"""The molt clock's numbers for the page "Where the numbers come from": its formula, its effects, each species' priors.

Read from the tables the clock itself works with. Must not do: hold a number of its own, or format.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from api.molt.hardening import STAGES
from api.molt.increment import GAIN, GAIN_SD
from api.molt.intervals import EFFECTS, MATURE_FEMALE, MATURE_MALE, PRIOR_SD
from api.molt.pace import BETWEEN, MISSED, NOISE
from api.molt.signs import LIKELIER
from api.molt.spans import WINTER_RATE
from api.molt.species import JUDGED, SIZE_EXPONENT, Figure, Species
from api.molt.species_table import SPECIES, UNKNOWN
from api.science.references import BY_KEY, Reference

__all__ = ["MoltNumbers", "PriorLine", "Reference", "SignLine", "SpeciesLine", "molt_numbers"]
FORMULA = "ln K = k0 + {exponent:g} ln(L) + own pace + maturity + winter; the animal molts when S reaches K"
SHOWN_C = (12.0, 16.0, 20.0, 24.0, 28.0)
SUM = "S = Σ (min(T, cap) − zero) over the days since the last molt, 0 where T is below zero"


@dataclass(frozen=True, slots=True)
class PriorLine:
    """A prior figure: value and spread (1 standard deviation, 0: taken as it is), its unit, its source or its basis."""

    name: str
    value: float
    sd: float
    unit: str
    source: Reference | None
    basis: str
    note: str


@dataclass(frozen=True, slots=True)
class SpeciesLine:
    """A species with its figures.

    ``typical`` is the interval of an immature animal of 20 mm; ``hatching``: how long eggs take at some temperatures at
    which they develop; ``winter``: mature animals slow down then. [degree-day; Cel, d]
    """

    name: str
    figures: tuple[PriorLine, ...]
    typical: float
    hatching: tuple[tuple[float, float], ...]
    winter: bool


@dataclass(frozen=True, slots=True)
class SignLine:
    """A premolt sign: by days from it to the molt, how much likelier it is than far from one."""

    name: str
    likelier: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class MoltNumbers:
    """Everything of the molt clock that the page shows; gains as (length [mm], share, spread).

    ``stages`` after a molt: name, words, end in days after it; ``stages_source`` where they are from.
    """

    equations: tuple[str, ...]
    effects: tuple[PriorLine, ...]
    gains: tuple[tuple[float, float, float], ...]
    species: tuple[SpeciesLine, ...]
    signs: tuple[SignLine, ...]
    signs_source: Reference
    stages: tuple[tuple[str, str, float], ...]
    stages_source: Reference


def molt_numbers() -> MoltNumbers:
    """Where the molt clock's numbers come from."""
    return MoltNumbers(
        (SUM, FORMULA.format(exponent=SIZE_EXPONENT)),
        _effects(),
        tuple((length, share, sd) for (length, share), (_, sd) in zip(GAIN, GAIN_SD, strict=True)),
        tuple(
            SpeciesLine(one.name, _figures(one.figures), one.typical_degree_days(20.0), _hatching(one), one.winter)
            for one in (*SPECIES, UNKNOWN)
        ),
        tuple(SignLine(sign.value.replace("_", " "), points) for sign, points in LIKELIER.items()),
        BY_KEY["molt_signs"],
        STAGES,
        BY_KEY["stevenson_molt_stages"],
    )


def _hatching(species: Species) -> tuple[tuple[float, float], ...]:
    """Days from laying to hatching at each of SHOWN_C at which eggs develop and the clock is not capped."""
    at_c, rate = np.array(species.hatching).T
    return tuple(
        (shown_c, float(1.0 / np.interp(shown_c, at_c, rate))) for shown_c in SHOWN_C if at_c[0] < shown_c <= at_c[-1]
    )


def _effects() -> tuple[PriorLine, ...]:
    sd = dict(zip(EFFECTS, PRIOR_SD, strict=True))
    adult = "one molt a year in signal crayfish of 45 to 55 mm; two a year in red claw that breed"
    return (
        _judged("exponent of size", SIZE_EXPONENT, sd["size"], "0.77 in the table of kozak_2009"),
        _judged("mature male, added to ln K", MATURE_MALE, sd["mature male"], adult),
        _judged("mature female, added to ln K", MATURE_FEMALE, sd["mature female"], adult),
        _judged("warmth, the logarithm of the rate", 0.0, sd["warmth"], "a zero that is off by 3 °C bends it by 0.3"),
        _judged("rate in winter, mature, temperate species", WINTER_RATE, sd["winter"], "between a full stop and none"),
        _judged("spread within an animal, of ln K", NOISE, 0.0, "0.06 to 0.20 in the juveniles of kozak_2009"),
        _judged("spread between animals, of ln K", BETWEEN, 0.0, "learned from the room's own animals as molts come"),
        _judged("share of molts nobody notices", MISSED, 0.0, "learned as well"),
    )


def _judged(name: str, value: float, sd: float, note: str) -> PriorLine:
    return PriorLine(name, value, sd, "1", None, JUDGED, note)


def _figures(figures: tuple[tuple[str, Figure], ...]) -> tuple[PriorLine, ...]:
    return tuple(
        PriorLine(
            name,
            one.value,
            one.sd,
            one.unit,
            BY_KEY.get(one.source),
            "" if one.source in BY_KEY else one.source,
            one.note,
        )
        for name, one in figures
    )
