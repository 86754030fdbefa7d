"""Events at the tanks, as people enter them: molts, limbs, feeding, water, breeding, moves, deaths.

An event says when it happened; who entered it and when stands in its record. Must not do: know what went before.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from math import isfinite

from api.domain.animal import MOST_NOTE, MOST_TEXT, Limb
from api.domain.errors import InputError
from api.domain.quantity import MEANING, Quantity
from api.domain.texts import writable

CARAPACE_MM, MASS_G = (1.0, 250.0), (0.001, 10_000.0)
"""What a crayfish can be, from hatchling to the largest species."""


class EventKind(StrEnum):
    """What happened."""

    MOLT = "molt"
    EXUVIA = "exuvia"
    PREMOLT = "premolt"
    LIMB_LOST = "limb_lost"
    LIMB_REGROWING = "limb_regrowing"
    LIMB_REGROWN = "limb_regrown"
    MEASURED = "measured"
    FED = "fed"
    CALCIUM = "calcium"
    WATER_CHANGED = "water_changed"
    TESTED = "tested"
    MATED = "mated"
    EGGS_SEEN = "eggs_seen"
    EGGS_LOST = "eggs_lost"
    HATCHED = "hatched"
    YOUNG_OFF = "young_off"
    MOTHER_MOVED = "mother_moved"
    MOVED = "moved"
    FOUGHT = "fought"
    DIED = "died"
    NOTE = "note"


class PremoltSign(StrEnum):
    """Signs that a molt is near."""

    STOPPED_FEEDING = "stopped_feeding"
    HIDING = "hiding"
    DULL_SHELL = "dull_shell"
    SEAM_GAP = "seam_gap"


KIND_NAMES = {
    EventKind.MOLT: "molt seen",
    EventKind.EXUVIA: "exuvia found",
    EventKind.PREMOLT: "premolt sign",
    EventKind.LIMB_LOST: "limb lost",
    EventKind.LIMB_REGROWING: "limb regrowing",
    EventKind.LIMB_REGROWN: "limb regrown",
    EventKind.MEASURED: "measured",
    EventKind.FED: "fed",
    EventKind.CALCIUM: "calcium given",
    EventKind.WATER_CHANGED: "water changed",
    EventKind.TESTED: "test-kit values",
    EventKind.MATED: "mated",
    EventKind.EGGS_SEEN: "eggs seen",
    EventKind.EGGS_LOST: "eggs lost",
    EventKind.HATCHED: "young hatched",
    EventKind.YOUNG_OFF: "young off",
    EventKind.MOTHER_MOVED: "mother moved",
    EventKind.MOVED: "moved",
    EventKind.FOUGHT: "fought",
    EventKind.DIED: "died",
    EventKind.NOTE: "note",
}
SIGN_NAMES = {
    PremoltSign.STOPPED_FEEDING: "stopped feeding",
    PremoltSign.HIDING: "hiding",
    PremoltSign.DULL_SHELL: "dull shell",
    PremoltSign.SEAM_GAP: "gap at the seam between carapace and abdomen",
}
MOLTS = frozenset({EventKind.MOLT, EventKind.EXUVIA})
LIMBS = frozenset({EventKind.LIMB_LOST, EventKind.LIMB_REGROWING, EventKind.LIMB_REGROWN})
BREEDING = frozenset({EventKind.MATED, EventKind.EGGS_SEEN, EventKind.EGGS_LOST, EventKind.HATCHED,
                      EventKind.YOUNG_OFF, EventKind.MOTHER_MOVED})  # fmt: skip
MOVES = frozenset({EventKind.MOVED, EventKind.MOTHER_MOVED})
ONE_ANIMAL = MOLTS - {EventKind.EXUVIA} | LIMBS | BREEDING | {
    EventKind.PREMOLT, EventKind.MEASURED, EventKind.MOVED, EventKind.DIED,
}  # fmt: skip
"""Kinds that say nothing without the animal; an exuvia may be found in a tank without knowing whose it is."""
ONE_TANK = frozenset({EventKind.TESTED, EventKind.WATER_CHANGED, EventKind.MOVED})
TEST_KIT = (Quantity.PH, Quantity.AMMONIA, Quantity.NITRITE, Quantity.NITRATE, Quantity.HARDNESS, Quantity.ALKALINITY,
            Quantity.CALCIUM)  # fmt: skip


@dataclass(frozen=True, slots=True)
class KitValue:
    """One value of a test kit in its canonical unit, and as it was read off.

    Raises InputError for a quantity no kit is taken for, or an amount no water can have.
    """

    quantity: Quantity
    value: float
    said: float
    unit: str

    def __post_init__(self) -> None:
        label = MEANING[self.quantity].label
        if self.quantity not in TEST_KIT:
            raise InputError(
                f"{label} is not a test-kit value; those are {', '.join(MEANING[q].label for q in TEST_KIT)}"
            )
        most = 14.0 if self.quantity is Quantity.PH else 100_000.0
        if not (isfinite(self.value) and 0.0 <= self.value <= most):
            raise InputError(f"{label} {self.said:g} {self.unit} is no amount in water; check the number and its unit")


@dataclass(frozen=True, slots=True)
class Husbandry:
    """One event. ``since_ms`` of an exuvia is the last look without one: the molt lies between the two.

    ``tank`` of a move is where the animal went. ``what`` says which food or calcium, or the colour of eggs.
    Raises InputError for what cannot be meant.
    """

    kind: EventKind
    time_ms: int
    tank: str | None = None
    animal: int | None = None
    since_ms: int | None = None
    signs: tuple[PremoltSign, ...] = ()
    limb: Limb | None = None
    carapace_mm: float | None = None
    mass_g: float | None = None
    tested: tuple[KitValue, ...] = ()
    percent: float | None = None
    what: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        name = KIND_NAMES[self.kind]
        writable(f"{name}: what", self.what, MOST_TEXT)
        writable(f"{name}: note", self.note, MOST_NOTE)
        if self.since_ms is not None and self.since_ms >= self.time_ms:
            raise InputError(f"{name}: the last look before it must lie before the time it was found")
        self._needs(name)
        for what, value, (low, high), unit in (
            ("carapace length", self.carapace_mm, CARAPACE_MM, "mm"),
            ("mass", self.mass_g, MASS_G, "g"),
            ("share of the water", self.percent, (0.1, 100.0), "%"),
        ):
            if value is not None and not (isfinite(value) and low <= value <= high):
                raise InputError(f"{what} {value:g} {unit} is outside {low:g} to {high:g} {unit}")

    def _needs(self, name: str) -> None:
        """What each kind cannot do without."""
        kind = self.kind
        if kind is EventKind.PREMOLT and not self.signs:
            raise InputError(f"{name}: say which sign was seen")
        if kind in LIMBS and self.limb is None:
            raise InputError(f"{name}: say which limb")
        if kind is EventKind.MEASURED and self.carapace_mm is None and self.mass_g is None:
            raise InputError(f"{name}: give a carapace length in mm, a mass in g, or both")
        if kind is EventKind.TESTED and not self.tested:
            raise InputError(f"{name}: give at least one value")
        if kind is EventKind.NOTE and not self.note.strip():
            raise InputError("an empty note says nothing; write something")
