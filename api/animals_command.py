"""``intermolt animals``: read animals in from a CSV file or write them out, while the service runs or not."""

from __future__ import annotations

import getpass
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from api.app import now_ms
from api.domain.errors import InputError
from api.kept_store import kept_store
from api.new_file import write_new
from api.services.animal_csv import COLUMNS, read_animals, write_animals, write_events
from api.services.animal_import import import_animals
from api.services.animals import Animals
from api.services.husbandry import EventLog
from api.services.lives import Lives
from api.services.records import Records
from api.storage.animal_base import Asked


@dataclass(frozen=True, slots=True)
class Colony:
    """The animals of a data folder."""

    animals: Animals
    events: EventLog
    lives: Lives
    zone: str


@contextmanager
def open_colony(data: Path) -> Iterator[Colony]:
    """The animals of a data folder, for a short while.

    Raises InputError when nothing was ever kept there.
    """
    with kept_store(data, "start Intermolt once, so that its tanks are known") as store:
        plan, lives = Records(store).plan, Lives(store)
        events = EventLog(store, plan, lives)
        yield Colony(Animals(store, plan, lives, events), events, lives, plan().room.zone)


def import_file(data: Path, file: str, person: str) -> int:
    """Read a file in and print what became of its rows: 0, or 1 when some were not taken.

    Raises InputError when the file is none.
    """
    if not file:
        columns = "\n".join(f"  {name:16} {words}" for name, words in COLUMNS)
        raise InputError(f"name the file: intermolt animals import FILE. Its columns, in any order:\n{columns}")
    text = _read(Path(file))
    with open_colony(data) as colony:
        done = import_animals(colony.animals, read_animals(text, colony.zone), person or getpass.getuser(), now_ms())
    for fault in done.remarks:
        print(f"{file}, line {fault.line}: {fault.reason}")
    for fault in done.faults:
        print(f"{file}, line {fault.line}: not taken: {fault.reason}", file=sys.stderr)
    print(f"{done.entered} entered, {done.changed} described anew, {done.same} as before, {len(done.faults)} not taken")
    return 1 if done.faults else 0


def export_file(data: Path, file: str, events: bool) -> int:
    """Write animals, or all events, to a new file or to standard output.

    Raises InputError for a file that is there, or cannot be written.
    """
    with open_colony(data) as colony:
        lives = colony.lives.all()
        if events:
            names = {number: life.animal.name for number, life in lives.items()}
            text = write_events(colony.events.entries(Asked(), -1, newest_first=False), names)
        else:
            text = write_animals(lives.values(), colony.zone)
    if not file:
        sys.stdout.write(text)
        return 0
    write_new(Path(file), text)
    print(f"{file}: {text.count(chr(10)) - 1} lines")
    return 0


def _read(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise InputError(f"cannot read {path}: {error.strerror}") from error
    except UnicodeDecodeError as error:
        raise InputError(f"{path} is not UTF-8 text; save it from the spreadsheet as 'CSV UTF-8'") from error
