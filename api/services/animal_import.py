"""Takes animals from a sheet into the records: good rows are kept, each other one is told with its line and reason.

A row whose name is known describes that animal anew. Must not do: stop at a bad row.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from api.domain.errors import InputError
from api.domain.life import Life
from api.services.animal_csv import Fault, Row, Sheet
from api.services.animals import Animals, Newcomer, remarks
from api.services.event_checks import Doubtful

WITHIN_S = 60.0
DESCRIBES = ("species", "sex", "sex_how", "origin", "hatched", "arrived", "note")


@dataclass(frozen=True, slots=True)
class Imported:
    """What became of a sheet. ``remarks`` are things to know of rows that were taken."""

    entered: int
    changed: int
    same: int
    faults: tuple[Fault, ...]
    remarks: tuple[Fault, ...]


def import_animals(animals: Animals, sheet: Sheet, person: str, now_ms: int) -> Imported:
    """Keep a sheet's rows, one after the other.

    Raises InputError without a person's name.
    """
    faults, said = list(sheet.faults), list[Fault]()
    if sheet.unused:
        said.append(Fault(1, f"not used: {', '.join(sheet.unused)[:200]}"))
    entered = changed = same = 0
    for row in sheet.rows:
        try:
            life = animals.named(row.newcomer.animal.name)
            if life is None:
                animals.enter(row.newcomer, person, now_ms).result(WITHIN_S)
                entered += 1
                said += [Fault(row.line, words) for words in remarks(row.newcomer.animal)]
            elif animals.renew(life.id, _merged(life, row), person, now_ms).result(WITHIN_S):
                changed += 1
            else:
                same += 1
        except Doubtful as doubt:
            faults.append(Fault(row.line, f"{doubt} Enter it on the animal's page to confirm it"))
        except InputError as error:
            faults.append(Fault(row.line, str(error)))
    faults.sort(key=lambda fault: fault.line)
    return Imported(entered, changed, same, tuple(faults), tuple(said))


def _merged(life: Life, row: Row) -> Newcomer:
    """A known animal with the columns a row fills; the others stay as they are."""
    new = row.newcomer.animal
    described = replace(life.animal, **{name: getattr(new, name) for name in DESCRIBES if name in row.given})
    if not life.alive:
        return Newcomer(described)
    return replace(row.newcomer, animal=described)
