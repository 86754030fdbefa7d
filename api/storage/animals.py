"""Animals, their events and photographs in SQLite. Must not do: decide anything, overwrite or delete."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Collection, Mapping, Sequence
from typing import Any

from api.storage.animal_base import AnimalRow, Asked, EventRow, Photograph

ANIMALS = """
    SELECT animal.id, animal.body, first.entered_ms, first.entered_by, animal.touched
    FROM animal JOIN animal_version AS first ON first.id =
        (SELECT min(id) FROM animal_version WHERE animal_version.animal = animal.id)
"""
# A correction that was itself withdrawn does not count: what it replaced is in force again.
EVENTS = """
    SELECT e.id, e.kind, e.time_ms, e.tank, e.animal, e.body, e.entered_ms, e.entered_by, e.replaces, e.withdrawn_ms,
        e.withdrawn_by, r.id
    FROM husbandry AS e LEFT JOIN husbandry AS r ON r.replaces = e.id AND r.withdrawn_ms IS NULL
"""
STANDING = "e.withdrawn_ms IS NULL AND r.id IS NULL"
MOST_AT_ONCE = 500


class SqliteAnimals:
    """An ``AnimalStore`` on SQLite."""

    def __init__(self, connection: sqlite3.Connection, reader: Callable[[], sqlite3.Connection]) -> None:
        self._connection, self._reader = connection, reader

    def add_animal(self, body: Mapping[str, Any], person: str, now_ms: int) -> int:
        """Keep a new animal."""
        sql = "INSERT INTO animal (body, touched) VALUES (?, 0)"
        animal = int(self._connection.execute(sql, (json.dumps(body),)).lastrowid or 0)
        self._version(animal, body, person, now_ms)
        return animal

    def change_animal(self, animal: int, body: Mapping[str, Any], person: str, now_ms: int) -> None:
        """A new version of an animal."""
        self._connection.execute("UPDATE animal SET body = ? WHERE id = ?", (json.dumps(body), animal))
        self._version(animal, body, person, now_ms)

    def _version(self, animal: int, body: Mapping[str, Any], person: str, now_ms: int) -> None:
        sql = "INSERT INTO animal_version (animal, body, entered_ms, entered_by) VALUES (?, ?, ?, ?)"
        self._connection.execute(sql, (animal, json.dumps(body), now_ms, person))
        self._touch(animal)

    def _touch(self, animal: int | None) -> None:
        sql = "UPDATE animal SET touched = (SELECT max(touched) + 1 FROM animal) WHERE id = ?"
        self._connection.execute(sql, (animal,))

    def animals(self, newer_than: int = -1) -> list[AnimalRow]:
        """Animals touched since."""
        rows = self._reader().execute(f"{ANIMALS} WHERE touched > ? ORDER BY animal.id", (newer_than,))
        return [AnimalRow(number, json.loads(body), *rest) for number, body, *rest in rows]

    def animal(self, animal: int) -> AnimalRow | None:
        """One animal."""
        row = self._reader().execute(f"{ANIMALS} WHERE animal.id = ?", (animal,)).fetchone()
        return None if row is None else AnimalRow(row[0], json.loads(row[1]), *row[2:])

    def versions(self, animal: int) -> list[AnimalRow]:
        """Every version of an animal."""
        sql = "SELECT animal, body, entered_ms, entered_by, id FROM animal_version WHERE animal = ? ORDER BY id"
        rows = self._reader().execute(sql, (animal,))
        return [AnimalRow(number, json.loads(body), *rest) for number, body, *rest in rows]

    def touched(self) -> int:
        """Grows with every change of any animal."""
        row = self._reader().execute("SELECT max(touched) FROM animal").fetchone()
        return -1 if row[0] is None else int(row[0])

    def add_event(
        self, kind: str, time_ms: int, tank: str | None, animal: int | None, body: Mapping[str, Any], person: str,
        now_ms: int, replaces: int | None = None,
    ) -> int:  # fmt: skip
        """Keep an event."""
        sql = (
            "INSERT INTO husbandry (kind, time_ms, tank, animal, body, entered_ms, entered_by, replaces)"
            " VALUES (?, ?, ?, ?, ?, ?, ?, ?)"
        )
        given = (kind, time_ms, tank, animal, json.dumps(body), now_ms, person, replaces)
        number = int(self._connection.execute(sql, given).lastrowid or 0)
        self._touch(animal)
        if replaces is not None:
            self._touch_of(replaces)
        return number

    def withdraw_event(self, event: int, person: str, now_ms: int) -> None:
        """Take an event out of force."""
        sql = "UPDATE husbandry SET withdrawn_ms = ?, withdrawn_by = ? WHERE id = ?"
        self._connection.execute(sql, (now_ms, person, event))
        self._touch_of(event)
        row = self._connection.execute("SELECT replaces FROM husbandry WHERE id = ?", (event,)).fetchone()
        if row is not None and row[0] is not None:
            self._touch_of(row[0])

    def _touch_of(self, event: int) -> None:
        row = self._connection.execute("SELECT animal FROM husbandry WHERE id = ?", (event,)).fetchone()
        if row is not None:
            self._touch(row[0])

    def event(self, event: int) -> EventRow | None:
        """One event."""
        rows = self._events("e.id = ?", [event], "")
        return rows[0] if rows else None

    def events(self, asked: Asked, most: int = -1, newest_first: bool = False) -> list[EventRow]:
        """Events by their time."""
        where, values = ["1"], list[Any]()
        for column, wanted in (("e.tank =", asked.tank), ("e.animal =", asked.animal),
                               ("e.time_ms >=", asked.start_ms), ("e.time_ms <", asked.end_ms)):  # fmt: skip
            if wanted is not None:
                where.append(f"{column} ?")
                values.append(wanted)
        if asked.kinds is not None:
            where.append(f"e.kind IN ({_marks(asked.kinds)})")
            values.extend(asked.kinds)
        if asked.standing:
            where.append(STANDING)
        order = "e.time_ms DESC, e.id DESC" if newest_first else "e.time_ms, e.id"
        return self._events(" AND ".join(where), [*values, most], f"ORDER BY {order} LIMIT ?")

    def of_animals(self, animals: Sequence[int], kinds: Collection[str]) -> list[EventRow]:
        """Standing events of these animals."""
        found: list[EventRow] = []
        for first in range(0, len(animals), MOST_AT_ONCE):
            some = animals[first : first + MOST_AT_ONCE]
            where = f"e.animal IN ({_marks(some)}) AND e.kind IN ({_marks(kinds)}) AND {STANDING}"
            found += self._events(where, [*some, *kinds], "ORDER BY e.time_ms, e.id")
        return found

    def _events(self, where: str, values: list[Any], rest: str) -> list[EventRow]:
        rows = self._reader().execute(f"{EVENTS} WHERE {where} {rest}", values)
        return [
            EventRow(number, kind, time_ms, tank, animal, json.loads(body), *others)
            for number, kind, time_ms, tank, animal, body, *others in rows
        ]

    def add_photograph(self, animal: int, content: bytes, media_type: str, person: str, now_ms: int) -> None:
        """Keep a picture."""
        sql = "INSERT INTO photograph (animal, content, media_type, entered_ms, entered_by) VALUES (?, ?, ?, ?, ?)"
        self._connection.execute(sql, (animal, content, media_type, now_ms, person))

    def photograph(self, animal: int) -> Photograph | None:
        """The newest picture of an animal."""
        sql = (
            "SELECT content, media_type, entered_ms, entered_by FROM photograph WHERE animal = ?"
            " ORDER BY id DESC LIMIT 1"
        )
        row = self._reader().execute(sql, (animal,)).fetchone()
        return None if row is None else Photograph(*row)

    def photographed(self) -> frozenset[int]:
        """The animals that have a picture."""
        return frozenset(animal for (animal,) in self._reader().execute("SELECT DISTINCT animal FROM photograph"))


def _marks(values: Collection[Any]) -> str:
    return ", ".join("?" * len(values))
