"""Built-in care profiles of species, each number with its own source. Must not do: judge (``api/judge``).

Where one source gives no tolerable band or danger limit, it stands some degrees inside what kills: judgement.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from api.domain.care import WARM_WATER, CareProfile, CareRange
from api.domain.care_chemistry import CHEMISTRY
from api.domain.quantity import Quantity

JUDGED = "judgement"
PRACTICE = "common practice, no source"
RATE = "less than 1 °C an hour and 3 °C a day: from memory, common practice"
NAMES = ("target_low", "target_high", "tolerable_low", "tolerable_high", "danger_low", "danger_high")
DELAYS = ("deadband", "on_delay_s", "danger_on_delay_s", "off_delay_s")


@dataclass(frozen=True, slots=True)
class SpeciesWarmth:
    """Temperatures of a species, from ``danger_low`` up to ``danger_high``, each with its source. [Cel]"""

    profile: str
    species: str
    cool: bool
    limits: tuple[tuple[float, str], ...]


REVIEW = "review of crayfish temperatures, knowledge and management of aquatic ecosystems 2021, table 2"
SPECIES = (
    SpeciesWarmth(
        "red claw", "Cherax quadricarinatus", False,
        ((12.0, "avoids water below 11.7 °C (Diaz 2004)"), (20.0, "slow below 20 to 21 °C (extension text)"),
         (24.0, "75 °F: grows best from there (extension text)"),
         (29.0, "grows best to 29 °C (Garcia-Guerrero 2013, extension text)"), (31.0, JUDGED),
         (34.0, "dies from 34 °C (extension text)")),
    ),
    SpeciesWarmth(
        "red swamp", "Procambarus clarkii", False,
        ((5.0, JUDGED), (12.0, JUDGED), (20.0, JUDGED), (28.0, "28 °C best of 25 to 37 °C (growth trial, 10 g, 30 d)"),
         (32.0, JUDGED), (34.0, "growth falls from 34 °C (the same trial)")),
    ),
    SpeciesWarmth(
        "marbled", "Procambarus virginalis", False,
        ((8.0, "near the biological zero of 7.6 °C (Golubev 2024): judgement"), (15.0, JUDGED),
         (18.0, "kept at 18 to 25 °C (Seitz 2005)"), (25.0, "kept at 18 to 25 °C (Seitz 2005)"), (28.0, JUDGED),
         (30.0, "more die at 30 °C, none grows faster (Seitz 2005)")),
    ),
    SpeciesWarmth(
        "yabby", "Cherax destructor", False,
        ((5.0, JUDGED), (15.0, "grows only above 15 °C (weak web source)"), (22.0, "22 to 28 °C (weak web source)"),
         (28.0, "22 to 28 °C (weak web source)"), (30.0, JUDGED), (34.0, "2 °C below its lethal 36 °C: judgement")),
    ),
    SpeciesWarmth(
        "marron", "Cherax cainii", True,
        ((5.0, JUDGED), (12.0, "lower limit of growth 11 to 13 °C (CSIRO, MF9900735)"), (18.0, JUDGED),
         (24.0, "grows best at 24 °C (CSIRO, MF9900735)"), (28.0, JUDGED),
         (30.0, "favourable up to 30 °C (CSIRO, MF9900735)")),
    ),
    SpeciesWarmth(
        "signal", "Pacifastacus leniusculus", True,
        ((1.0, JUDGED), (5.0, JUDGED), (15.0, JUDGED), (21.0, f"inside its optimum of 19 to 23 °C ({REVIEW})"),
         (25.0, f"stress from 25 °C ({REVIEW})"), (28.0, f"stress to 28 °C, lethal 32 to 35 °C ({REVIEW})")),
    ),
    SpeciesWarmth(
        "noble", "Astacus astacus", True,
        ((1.0, JUDGED), (5.0, JUDGED), (15.0, JUDGED), (20.0, f"optimum 19 to 20 °C ({REVIEW})"),
         (23.0, f"stress from 23 °C ({REVIEW})"), (25.0, f"stress to 25 °C, lethal 30 to 33 °C ({REVIEW})")),
    ),
    SpeciesWarmth(
        "spiny-cheek", "Faxonius limosus", False,
        ((2.0, JUDGED), (8.0, JUDGED), (18.0, JUDGED), (25.0, f"optimum 24 to 25 °C ({REVIEW})"), (28.0, JUDGED),
         (30.0, f"stress at 30 °C ({REVIEW})")),
    ),
    SpeciesWarmth(
        "rusty", "Faxonius rusticus", False,
        ((2.0, JUDGED), (8.0, JUDGED), (20.0, JUDGED), (26.0, "about 26 °C best: from memory"), (29.0, JUDGED),
         (32.0, JUDGED)),
    ),
    SpeciesWarmth(
        "virile", "Faxonius virilis", True,
        ((2.0, JUDGED), (6.0, JUDGED), (18.0, JUDGED), (25.0, "about 20 to 25 °C best: from memory"), (28.0, JUDGED),
         (30.0, "stress at 29 to 30 °C: from memory")),
    ),
)  # fmt: skip
_OXYGEN = WARM_WATER.range_of(Quantity.OXYGEN)
OXYGEN = replace(
    _OXYGEN if _OXYGEN is not None else CareRange(Quantity.OXYGEN, tolerable_low=5.0),
    sources=(
        ("target_low", "above 6 mg/L grows best (McClain 1999)"),
        ("tolerable_low", "keep above 5 mg/L (Lawson & Wheaton 1982)"),
        ("danger_low", "EPA 440/5-86-003, one-day minimum 3.0 mg/L, warm water: from memory"),
        *((name, JUDGED) for name in DELAYS),
    ),
)
COOL_OXYGEN = replace(
    OXYGEN,
    target_low=7.0,
    tolerable_low=6.0,
    danger_low=4.0,
    source="an mg/L more than warm-water species: young signal crayfish need near-saturated water (Moshiri)",
    sources=tuple(
        (name, "1 mg/L above the warm-water profile: judgement" if name in NAMES else source)
        for name, source in OXYGEN.sources
    ),
)


def _profile(one: SpeciesWarmth) -> CareProfile:
    order = ("danger_low", "tolerable_low", "target_low", "target_high", "tolerable_high", "danger_high")
    limits = dict(zip(order, (limit for limit, _ in one.limits), strict=True))
    sources = tuple((name, source) for name, (_, source) in zip(order, one.limits, strict=True))
    warmth = CareRange(
        Quantity.TEMPERATURE, **limits, deadband=0.3, change_per_hour=1.0, change_per_day=3.0, source="by number",
        sources=(*sources, *((name, JUDGED) for name in DELAYS), ("change_per_hour", RATE), ("change_per_day", RATE)),
    )  # fmt: skip
    oxygen = COOL_OXYGEN if one.cool else OXYGEN
    kind = "cool-water" if one.cool else "warm-water"
    return CareProfile(one.profile, (warmth, oxygen, *CHEMISTRY), f"{one.species}, {kind}", one.species, one.cool)


_WARMTH = WARM_WATER.range_of(Quantity.TEMPERATURE)
PRACTISED = replace(
    WARM_WATER,
    ranges=(
        replace(
            _WARMTH if _WARMTH is not None else CareRange(Quantity.TEMPERATURE, target_low=24.0),
            sources=(
                ("target_low", f"75 °F: {PRACTICE}"),
                ("target_high", f"85 °F: {PRACTICE}"),
                ("tolerable_low", JUDGED),
                ("tolerable_high", JUDGED),
                ("danger_low", "red claw avoids water below 11.7 °C (Diaz 2004)"),
                ("danger_high", "red claw dies from 34 °C (extension text)"),
                *((name, JUDGED) for name in DELAYS),
                ("change_per_hour", RATE),
                ("change_per_day", RATE),
            ),
        ),
        OXYGEN,
        *CHEMISTRY,
    ),
)
BUILT_IN = (PRACTISED, *(_profile(one) for one in SPECIES))


def profile_for(species: str) -> str:
    """The built-in profile a species is given when the room names none: its own, else warm-water."""
    wanted = " ".join(species.split()).casefold()
    found = (one.name for one in BUILT_IN if wanted and one.species.casefold() == wanted)
    return next(found, WARM_WATER.name)
