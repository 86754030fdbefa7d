"""Animals as pages show them, and the forms that describe them. Must not do: decide what stage an animal is in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from api.domain.animal import Animal, Limb, LimbState, Sex
from api.domain.errors import InputError
from api.domain.life import Life, Molt, Stage
from api.services.animals import AnimalNow, Newcomer, remarks
from dashboard.clock import Clock, Moment
from dashboard.event_form import Fields, first, number
from dashboard.tank_log import clutch_words, marks_words, short, stage_words
from dashboard.words import count

DAY_MS = 86_400_000
STAGE_ORDER = {Stage.SOFT: 0, Stage.HARDENING: 1, Stage.HARD: 2}


@dataclass(frozen=True, slots=True)
class LimbView:
    """One limb's condition."""

    id: str
    words: str
    state: str


@dataclass(frozen=True, slots=True)
class AnimalView:
    """An animal ready to show. ``stage`` is empty when it is hard; ``forecast`` when nothing is foretold."""

    id: int
    name: str
    species: str
    sex: str
    tank: str | None
    tank_name: str
    alive: bool
    died: Moment | None
    stage: str
    stage_id: str
    last_molt: str
    size: str
    marks: str
    clutch: str
    forecast: str
    photographed: bool


def animal_view(now: AnimalNow, clock: Clock, forecast: str = "") -> AnimalView:
    """One animal."""
    life, animal = now.life, now.animal
    return AnimalView(
        id=now.id,
        name=animal.name,
        species=animal.species,
        sex=str(animal.sex),
        tank=life.tank,
        tank_name=now.tank_name,
        alive=life.alive,
        died=clock.maybe(life.died_ms),
        stage=stage_words(now, clock),
        stage_id=str(now.stage),
        last_molt=molt_words(life.last_molt, clock),
        size=size_words(life),
        marks=marks_words(now),
        clutch=clutch_words(life, clock),
        forecast=forecast,
        photographed=now.photographed,
    )


def in_order(animals: Sequence[AnimalNow]) -> list[AnimalNow]:
    """The soft first, then by tank and name; the dead last."""
    return sorted(
        animals,
        key=lambda one: (
            not one.life.alive,
            STAGE_ORDER[one.stage],
            one.life.tank is None,
            one.tank_name.casefold(),
            one.animal.name.casefold(),
        ),
    )


def molt_words(molt: Molt | None, clock: Clock) -> str:
    """When it last molted, and how well that is known."""
    if molt is None:
        return "not known"
    days = (clock.now_ms - molt.time_ms) // DAY_MS
    ago = "today" if days == 0 else f"{count(days, 'day')} ago"
    if molt.since_ms is None:
        doubt = "" if molt.seen else "; exuvia found, the look before it not known"
        return f"{clock.moment(molt.time_ms).text}, {ago}{doubt}"
    return f"between {clock.moment(molt.since_ms).text} and {clock.moment(molt.time_ms).text}, {ago}"


def size_words(life: Life) -> str:
    """The newest length and mass."""
    mass = next((size.mass_g for size in reversed(life.sizes) if size.mass_g is not None), None)
    said = [
        f"{short(life.carapace_mm)} mm" if life.carapace_mm is not None else "",
        f"{short(mass)} g" if mass is not None else "",
    ]
    return ", ".join(one for one in said if one)


def limb_views(life: Life) -> tuple[list[LimbView], list[LimbView]]:
    """Left and right limbs, front to back."""
    order = (Limb.LEFT_ANTENNA, *(limb for limb in Limb if limb is not Limb.LEFT_ANTENNA))
    views = [LimbView(limb, limb.words, str(life.limbs.get(limb, LimbState.PRESENT))) for limb in order]
    right = [one for one in views if one.id.startswith("right")]
    right.sort(key=lambda one: one.id != Limb.RIGHT_ANTENNA)
    return [one for one in views if one.id.startswith("left")], right


def described(fields: Fields) -> Animal:
    """An animal as a form describes it.

    Raises InputError.
    """
    try:
        sex = Sex(first(fields, "sex") or "unknown")
    except ValueError as error:
        raise InputError(f"sex {first(fields, 'sex')[:40]!r} is not female, male or unknown") from error
    return Animal(
        name=" ".join(first(fields, "name").split()),
        species=first(fields, "species"),
        sex=sex,
        sex_how=first(fields, "sex_how"),
        origin=first(fields, "origin"),
        hatched=_day(fields, "hatched"),
        arrived=_day(fields, "arrived"),
        note=first(fields, "note"),
    )


def newcomer_of(fields: Fields) -> Newcomer:
    """A new animal as a form describes it.

    Raises InputError.
    """
    limbs: dict[Limb, LimbState] = {}
    for name in fields.get("lost", []):
        if name not in set(Limb):
            raise InputError(f"{name[:40]!r} is no limb")
        limbs[Limb(name)] = LimbState.LOST
    return Newcomer(
        animal=described(fields),
        tank=first(fields, "tank") or None,
        carapace_mm=number(first(fields, "carapace_mm"), "carapace length"),
        mass_g=number(first(fields, "mass_g"), "mass"),
        last_molt=_day(fields, "last_molt"),
        limbs=limbs,
    )


def fields_of_animal(animal: Animal) -> Fields:
    """An animal's description as its form would have been filled in."""
    return {
        "name": [animal.name], "species": [animal.species], "sex": [str(animal.sex)], "sex_how": [animal.sex_how],
        "origin": [animal.origin], "note": [animal.note],
        "hatched": [animal.hatched.isoformat()] if animal.hatched else [],
        "arrived": [animal.arrived.isoformat()] if animal.arrived else [],
    }  # fmt: skip


def remark_words(animal: Animal) -> tuple[str, ...]:
    """What to know of a description that is taken all the same."""
    return remarks(animal)


def _day(fields: Fields, name: str) -> date | None:
    text = first(fields, name)
    if not text:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise InputError(f"{name}: {text[:40]!r} is not a day such as 2026-03-01") from error
