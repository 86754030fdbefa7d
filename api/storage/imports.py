"""Imports in SQLite. Must not do: decide what becomes of one (``api/services/imports.py``)."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Collection
from dataclasses import asdict, replace
from typing import Any

from api.domain.import_job import Counts, GivenFile, ImportJob, JobState, KeptRecipe, Pace, Source

OWN = ("id", "state")
"""Columns; everything else is one body."""
ASK = "SELECT id, state, body FROM import_job"


class SqliteImports:
    """An ``ImportStore`` on SQLite."""

    def __init__(self, connection: sqlite3.Connection, reader: Callable[[], sqlite3.Connection]) -> None:
        self._connection, self._reader = connection, reader

    def open(self, job: ImportJob) -> int:
        """Keep a new import and return its id."""
        sql = "INSERT INTO import_job (digest, state, body) VALUES (?, ?, ?)"
        values = (job.file.digest, job.state, _body(job))
        return int(self._connection.execute(sql, values).lastrowid or 0)

    def change(self, job: int, **fields: Any) -> None:
        """Change fields of an import."""
        # Asked on the write connection, in the open transaction: another process may have changed it, too.
        before = _one(self._connection.execute(f"{ASK} WHERE id = ?", (job,)).fetchone())
        if before is not None:
            after = replace(before, **fields)
            sql = "UPDATE import_job SET digest = ?, state = ?, body = ? WHERE id = ?"
            self._connection.execute(sql, (after.file.digest, after.state, _body(after), job))

    def job(self, job: int) -> ImportJob | None:
        """One import."""
        return _one(self._reader().execute(f"{ASK} WHERE id = ?", (job,)).fetchone())

    def jobs(self, states: Collection[JobState] | None = None, most: int = 200) -> list[ImportJob]:
        """Newest first."""
        where = f"WHERE state IN ({', '.join('?' * len(states))})" if states is not None else ""
        rows = self._reader().execute(f"{ASK} {where} ORDER BY id DESC LIMIT ?", [*(states or ()), most])
        return [job for row in rows if (job := _one(row)) is not None]

    def of_file(self, digest: str) -> ImportJob | None:
        """The newest import of a file with this content."""
        sql = f"{ASK} WHERE digest = ? ORDER BY id DESC LIMIT 1"
        return _one(self._reader().execute(sql, (digest,)).fetchone())

    def newest_alert(self) -> int:
        """The highest id an alert has."""
        return int(self._reader().execute("SELECT ifnull(max(id), 0) FROM alert").fetchone()[0])

    def found_late(self, after: int, probes: Collection[str]) -> list[int]:
        """Alerts of these probes found late."""
        marks = ", ".join("?" * len(probes))
        sql = f"SELECT id FROM alert WHERE id > ? AND found_late = 1 AND probe IN ({marks}) ORDER BY id"  # noqa: S608
        return [row[0] for row in self._reader().execute(sql, [after, *probes])]

    def keep_recipe(self, recipe: KeptRecipe) -> None:
        """Keep an understanding; one of the same name is replaced."""
        values = (recipe.name, json.dumps(asdict(recipe)))
        self._connection.execute("INSERT OR REPLACE INTO import_recipe VALUES (?, ?)", values)

    def drop_recipe(self, name: str) -> None:
        """Forget an understanding."""
        self._connection.execute("DELETE FROM import_recipe WHERE name = ?", (name,))

    def recipes(self) -> list[KeptRecipe]:
        """Every kept understanding, by name."""
        rows = self._reader().execute("SELECT body FROM import_recipe ORDER BY name")
        return [KeptRecipe(**json.loads(body)) for (body,) in rows]


def _body(job: ImportJob) -> str:
    return json.dumps({name: value for name, value in asdict(job).items() if name not in OWN})


def _one(row: tuple[int, str, str] | None) -> ImportJob | None:
    if row is None:
        return None
    number, state, body = row[0], JobState(row[1]), json.loads(row[2])
    body |= {"file": GivenFile(**body["file"]), "source": Source(body["source"]), "probes": tuple(body["probes"])}
    return ImportJob(
        **body | {"counts": Counts(**body["counts"]), "pace": Pace(**body["pace"])}, id=number, state=state
    )
