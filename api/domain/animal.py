"""One animal as its keeper describes it: name, species, sex, origin, and the limbs it can be told by.

What changes over time (size, tank, limbs, molts) stands in its events. Must not do: judge or keep anything.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from api.domain.errors import InputError
from api.domain.texts import writable

MOST_NAME, MOST_TEXT, MOST_NOTE = 80, 200, 2000
SPECIES = (
    "Procambarus clarkii",
    "Procambarus virginalis",
    "Pacifastacus leniusculus",
    "Cherax quadricarinatus",
    "Cherax destructor",
    "Cherax cainii",
    "Astacus astacus",
    "Pontastacus leptodactylus",
    "Austropotamobius pallipes",
    "Faxonius limosus",
    "Faxonius rusticus",
    "Faxonius virilis",
)
"""Species offered when one is typed; any other name is taken, and said to be unknown."""


class Sex(StrEnum):
    """Sex as far as it is known."""

    FEMALE = "female"
    MALE = "male"
    UNKNOWN = "unknown"


class Limb(StrEnum):
    """A limb by side and place: chelae are the first of five pairs of walking legs."""

    LEFT_CHELA = "left_chela"
    LEFT_LEG_2 = "left_leg_2"
    LEFT_LEG_3 = "left_leg_3"
    LEFT_LEG_4 = "left_leg_4"
    LEFT_LEG_5 = "left_leg_5"
    LEFT_ANTENNA = "left_antenna"
    RIGHT_CHELA = "right_chela"
    RIGHT_LEG_2 = "right_leg_2"
    RIGHT_LEG_3 = "right_leg_3"
    RIGHT_LEG_4 = "right_leg_4"
    RIGHT_LEG_5 = "right_leg_5"
    RIGHT_ANTENNA = "right_antenna"

    @property
    def words(self) -> str:
        """ "left leg 2"."""
        return self.value.replace("_", " ")


class LimbState(StrEnum):
    """The condition of a limb."""

    PRESENT = "present"
    LOST = "lost"
    REGROWING = "regrowing"


@dataclass(frozen=True, slots=True)
class Animal:
    """An animal by its name or tag. ``hatched`` and ``arrived`` are days on the room's calendar, None: not known.

    Raises InputError for a name that cannot be one, or an arrival before hatching.
    """

    name: str
    species: str = ""
    sex: Sex = Sex.UNKNOWN
    sex_how: str = ""
    origin: str = ""
    hatched: date | None = None
    arrived: date | None = None
    note: str = ""

    def __post_init__(self) -> None:
        for what, text, most in (
            ("name", self.name, MOST_NAME),
            ("species", self.species, MOST_TEXT),
            ("how the sex was told", self.sex_how, MOST_TEXT),
            ("origin", self.origin, MOST_TEXT),
            ("note", self.note, MOST_NOTE),
        ):
            writable(what, text, most)
        if not self.name.strip():
            raise InputError("an animal needs a name or tag by which people tell it from the others")
        if self.name.strip().isdigit() and len(self.name.strip()) > 12:
            raise InputError("a name of more than 12 digits is taken for a typing mistake; shorten it")
        for what, day in (("hatched", self.hatched), ("arrived", self.arrived)):
            if day is not None and not 1970 <= day.year <= 2200:
                raise InputError(f"{what}: the year {day.year} is not one of ours; use a day such as 2026-03-01")
        if self.hatched is not None and self.arrived is not None and self.arrived < self.hatched:
            raise InputError(f"it cannot have arrived ({self.arrived}) before it hatched ({self.hatched})")

    @property
    def known_species(self) -> bool:
        """Whether the species is one of those with figures of their own."""
        return self.species.strip().casefold() in {name.casefold() for name in SPECIES}
