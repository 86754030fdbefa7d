"""A file as it is understood, before anything of it is kept: columns, first rows, what is refused, what must be asked.

What only the room knows is asked here: which tank a new probe belongs to. Must not do: guess, or keep anything.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from api.domain.errors import InputError, NotFound
from api.domain.reading import PROBE_ID, PROBE_ID_RULE
from api.intake.look import look
from api.intake.recipe import Recipe
from api.intake.understood import Look, Question
from api.services.plan import RoomPlan

TANK, PROBE, NO_TANK = "tank:", "probe:", "none"
NO_TANK_WORDS = "no tank: kept, and judged when a tank claims it"


@dataclass(frozen=True, slots=True)
class Understood:
    """What a file is understood to be; ``tanks`` are those of probes the room does not know yet."""

    look: Look
    questions: tuple[Question, ...]
    tanks: Mapping[str, str]

    @property
    def ready(self) -> bool:
        """Whether it can be read as it is understood."""
        return self.look.recipe is not None and not any(one.must for one in self.questions)

    @property
    def recipe(self) -> str:
        """The understanding as it is kept; empty while something is asked."""
        return self.look.recipe.to_json() if self.ready and self.look.recipe is not None else ""


def understand(
    path: Path, answers: Mapping[str, str], plan: RoomPlan, recipe: str = "", tanks: Mapping[str, str] | None = None
) -> Understood:
    """Look at a file.

    Raises InputError for one that cannot be read at all, and for an answer that is none.
    """
    given = {key: value.strip() for key, value in answers.items() if value.strip()}
    own = {key: value for key, value in given.items() if key.startswith(TANK)}
    others = {key: value for key, value in given.items() if key not in own}
    for key, value in others.items():
        if (key == "probe" or key.startswith(PROBE)) and not PROBE_ID.match(value):
            raise InputError(f"{key}: {value[:80]!r} cannot be a probe's name: {PROBE_ID_RULE}")
    seen = _looked(path, others, Recipe.from_json(recipe) if recipe else None)
    known = {**(tanks or {}), **{key.removeprefix(TANK): value for key, value in own.items()}}
    for probe, tank in known.items():
        _known_tank(probe, tank, plan)
    homeless = [probe for probe in _probes(seen) if not _has_tank(probe, plan)]
    asked = [_question(probe, plan) for probe in homeless if probe not in known]
    questions = (*(_of_the_room(one, plan) for one in seen.questions), *asked)
    return Understood(seen, questions, {probe: known[probe] for probe in homeless if probe in known})


def _looked(path: Path, answers: Mapping[str, str], recipe: Recipe | None) -> Look:
    try:
        seen = look(path, answers, recipe)
    except InputError as error:
        # a keeper knows the file by its name, wherever our copy of it lies
        raise InputError(str(error).replace(str(path), path.name)) from error
    why = recipe.fits(seen) if recipe is not None else ""
    if why:
        raise InputError(f"{path.name}: {why}")
    return seen


def _probes(seen: Look) -> Sequence[str]:
    """Our ids of the probes a file speaks of."""
    if seen.recipe is None:
        return ()
    columns = [one.probe for one in seen.recipe.readings]
    told = [value for key, value in seen.recipe.answers.items() if key.startswith(PROBE)]
    taken = [one.suggestion or "" for one in seen.questions if one.key.startswith(PROBE)]
    return [one for one in dict.fromkeys([*columns, *told, *taken, seen.recipe.probe]) if one]


def _has_tank(probe: str, plan: RoomPlan) -> bool:
    known = plan.probes.get(probe)
    return known is not None and known.tank in plan.tanks


def _known_tank(probe: str, tank: str, plan: RoomPlan) -> None:
    if tank != NO_TANK and tank not in plan.tanks:
        known = ", ".join(sorted(plan.tanks)[:20]) or "none is described yet: add them to room.toml"
        raise NotFound(f"tank of {probe}: there is no tank {tank[:80]!r}; known: {known}")


def _question(probe: str, plan: RoomPlan) -> Question:
    """Which tank a probe that the room does not know belongs to."""
    choices = (*((one.id, one.name) for one in plan.tanks.values()), (NO_TANK, NO_TANK_WORDS))
    alike = [one.id for one in plan.tanks.values() if probe.casefold() in (one.id.casefold(), one.name.casefold())]
    return Question(
        key=f"{TANK}{probe}",
        text=f"Which tank was probe {probe} in?",
        choices=choices,
        why="The room does not know this probe; its readings are judged by the care of the tank they come from.",
        suggestion=alike[0] if len(alike) == 1 else None,
        must=True,
    )


def _of_the_room(asked: Question, plan: RoomPlan) -> Question:
    """A question with what the room knows of its answer: the probes there are, the room's zone."""
    if asked.key == "zone" and not asked.choices and asked.suggestion is None:
        return replace(asked, suggestion=plan.room.zone, why=f"{asked.why}; the room's own is {plan.room.zone}")
    if asked.choices or not (asked.key == "probe" or asked.key.startswith(PROBE)):
        return asked
    names = {tank.id: tank.name for tank in plan.tanks.values()}
    known = tuple((one.id, f"{one.id}, in {names.get(one.tank or '', 'no tank')}") for one in plan.probes.values())
    return replace(asked, choices=known)
