"""A tank's log as pages show it: its animals, its newest entries in words, and which forms there are.

Must not do: decide what is soft, or what may be entered.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from api.domain.animal import LimbState
from api.domain.husbandry import KIND_NAMES, SIGN_NAMES, EventKind, Husbandry
from api.domain.life import Life, Stage
from api.domain.quantity import MEANING
from api.services.animals import AnimalNow
from api.services.answers import BroodNow, SoftNow
from api.services.entries import Entry
from dashboard.clock import Clock, Moment
from dashboard.words import joined

UNDO_MS = 60_000
K = EventKind
ANIMAL_TAPS = (
    K.MOLT, K.EXUVIA, K.PREMOLT, K.LIMB_LOST, K.LIMB_REGROWING, K.LIMB_REGROWN, K.MEASURED, K.MATED, K.EGGS_SEEN,
    K.EGGS_LOST, K.HATCHED, K.YOUNG_OFF, K.MOTHER_MOVED, K.MOVED, K.FOUGHT, K.DIED,
)  # fmt: skip
FIRST_TAPS = (K.MOLT, K.EXUVIA, K.PREMOLT, K.FOUGHT, K.MEASURED, K.MOVED, K.DIED)
LIMB_TAPS = (K.LIMB_LOST, K.LIMB_REGROWING, K.LIMB_REGROWN)
BREEDING_TAPS = (K.MATED, K.EGGS_SEEN, K.EGGS_LOST, K.HATCHED, K.YOUNG_OFF, K.MOTHER_MOVED)
TANK_TAPS = (K.WATER_CHANGED, K.TESTED, K.NOTE)
ONE_TAP = (K.FED, K.CALCIUM)
STAGE_WORDS = {Stage.SOFT: "soft", Stage.HARDENING: "hardening", Stage.HARD: "hard"}
COLOUR_NOTES = "Dark brown eggs are kept; orange ones fall off, unfertilised (common practice)."


@dataclass(frozen=True, slots=True)
class Chip:
    """An animal of the tank. ``stage`` is empty when it is hard, ``brood`` when it carries nothing."""

    id: int
    name: str
    stage: str
    marks: str
    brood: str


@dataclass(frozen=True, slots=True)
class EntryView:
    """An entry ready to show. ``undo``: it was entered within the last minute."""

    id: int
    kind: str
    kind_words: str
    when: Moment
    animal: int | None
    who: str
    tank: str | None
    tank_name: str
    details: tuple[str, ...]
    by: str
    over: str
    undo: bool


@dataclass(frozen=True, slots=True)
class Names:
    """What animals and tanks are called."""

    animals: Mapping[int, str]
    tanks: Mapping[str, str]


def chip(now: AnimalNow, clock: Clock) -> Chip:
    """One animal."""
    return Chip(now.id, now.animal.name, stage_words(now, clock), marks_words(now), clutch_words(now.life, clock))


def clutch_words(life: Life, clock: Clock) -> str:
    """Eggs or young it carries."""
    clutch = life.clutch
    if clutch is None:
        return ""
    if clutch.hatched_ms is not None:
        return f"carries young, hatched {clock.moment(clutch.hatched_ms).text}"
    return f"carries eggs, seen {clock.moment(clutch.eggs_ms).text}" if clutch.eggs_ms is not None else ""


def stage_words(now: AnimalNow, clock: Clock) -> str:
    """ "soft until 5 Mar 10:00" and the like; empty when it is hard."""
    if not now.life.alive or now.stage is Stage.HARD or now.soft_until_ms is None or now.hard_from_ms is None:
        return ""
    if now.stage is Stage.SOFT:
        return f"soft until {clock.moment(now.soft_until_ms).text}"
    return f"hardening, hard from {clock.moment(now.hard_from_ms).text}"


def soft_words(soft: SoftNow, clock: Clock) -> str:
    """The same for a tank's strip, with the name."""
    if soft.stage is Stage.SOFT:
        return f"soft: {soft.name} until {clock.moment(soft.soft_until_ms).text}"
    return f"hardening: {soft.name}, hard from {clock.moment(soft.hard_from_ms).text}"


def brood_words(brood: BroodNow, clock: Clock) -> str:
    """Eggs or young of a mother, for a tank's strip."""
    if brood.hatched_ms is not None:
        return f"young: {brood.name}, hatched {clock.moment(brood.hatched_ms).text}"
    since = f" since {clock.moment(brood.eggs_ms).text}" if brood.eggs_ms is not None else ""
    return f"berried: {brood.name}{since}"


def marks_words(now: AnimalNow) -> str:
    """Its limbs that are not as they should be."""
    lost = [limb.words for limb, state in now.life.marks if state is LimbState.LOST]
    growing = [limb.words for limb, state in now.life.marks if state is LimbState.REGROWING]
    said = [f"without {joined(lost)}" if lost else "", f"{joined(growing)} regrowing" if growing else ""]
    return "; ".join(one for one in said if one)


def entry_view(entry: Entry, names: Names, clock: Clock) -> EntryView:
    """One entry in words."""
    event = entry.event
    over = ""
    if entry.withdrawn_ms is not None:
        over = f"withdrawn by {entry.withdrawn_by}, {clock.moment(entry.withdrawn_ms).text}"
    elif entry.replaced_by is not None:
        over = "corrected"
    return EntryView(
        id=entry.id,
        kind=event.kind,
        kind_words=KIND_NAMES[event.kind],
        when=clock.moment(event.time_ms),
        animal=event.animal,
        who=names.animals.get(event.animal, "") if event.animal is not None else "",
        tank=event.tank,
        tank_name=names.tanks.get(event.tank, event.tank) if event.tank is not None else "",
        details=tuple(_details(event, names, clock)),
        by=entry.entered_by,
        over=over,
        undo=entry.standing and 0 <= clock.now_ms - entry.entered_ms < UNDO_MS,
    )


def short(value: float) -> str:
    """A length or mass at the decimals worth showing."""
    return f"{round(value, 3 if value < 1 else 2):g}"


def _details(event: Husbandry, names: Names, clock: Clock) -> list[str]:
    said: list[str] = []
    if event.since_ms is not None:
        said.append(f"last look before it {clock.moment(event.since_ms).text}")
    if event.signs:
        said.append(joined([SIGN_NAMES[sign] for sign in event.signs]))
    if event.limb is not None:
        said.append(event.limb.words)
    if event.carapace_mm is not None:
        said.append(f"carapace {short(event.carapace_mm)} mm")
    if event.mass_g is not None:
        said.append(f"{short(event.mass_g)} g")
    for one in event.tested:
        meaning = MEANING[one.quantity]
        read = "" if one.unit in (meaning.unit, meaning.unit_label) else f" (read {one.said:g} {one.unit})"
        unit = "" if meaning.unit_label == meaning.label else f" {meaning.unit_label}"
        said.append(f"{meaning.label} {one.value:.{meaning.decimals}f}{unit}{read}")
    if event.percent is not None:
        said.append(f"{event.percent:g} % of the water")
    if event.kind in (EventKind.MOVED, EventKind.MOTHER_MOVED) and event.tank is not None:
        said.append(f"to {names.tanks.get(event.tank, event.tank)}")
    said += [text for text in (event.what, event.note) if text]
    return said
