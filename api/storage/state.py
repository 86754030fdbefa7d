"""Records in SQLite: the room's description, tracks, alerts, the outbox. Must not do: decide anything about them."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import fields
from typing import Any

from api.domain.alert import AlertKind, AlertState, Priority, Subject
from api.domain.quantity import Quantity
from api.judge.alert_cycle import Track
from api.storage.base import AlertRow, OutboxRow

DESCRIPTION = frozenset({"tank", "probe", "care", "notify"})
ALERT_COLUMNS = ", ".join(field.name for field in fields(AlertRow))
OUTBOX_COLUMNS = ", ".join(field.name for field in fields(OutboxRow))
TRACK_FIELDS = tuple(field.name for field in fields(Track))
SUBJECT_FIELDS = tuple(field.name for field in fields(Subject))
CHANGEABLE = frozenset(field.name for field in fields(AlertRow)) - {"id"}


class SqliteState:
    """A ``StateStore`` on SQLite."""

    def __init__(self, connection: sqlite3.Connection, reader: Callable[[], sqlite3.Connection]) -> None:
        self._connection, self._reader = connection, reader

    def put(self, table: str, rows: Iterable[tuple[str, Mapping[str, Any]]]) -> None:
        """Replace all rows of a description table."""
        self._described(table)
        self._connection.execute(f"DELETE FROM {table}")  # noqa: S608 - the name is one of four
        name = "id" if table in {"tank", "probe"} else "name"
        for position, (key, body) in enumerate(rows):
            if table == "tank":
                self._connection.execute("INSERT INTO tank VALUES (?, ?, ?)", (key, json.dumps(body), position))
            else:
                sql = f"INSERT INTO {table} ({name}, body) VALUES (?, ?)"  # noqa: S608 - the name is one of four
                self._connection.execute(sql, (key, json.dumps(body)))

    def all(self, table: str) -> list[dict[str, Any]]:
        """All rows of a description table."""
        self._described(table)
        order = "position" if table == "tank" else "1"
        sql = f"SELECT body FROM {table} ORDER BY {order}"  # noqa: S608 - the name is one of four
        return [json.loads(body) for (body,) in self._reader().execute(sql)]

    def _described(self, table: str) -> None:
        if table not in DESCRIPTION:
            raise ValueError(f"{table} is not a description table")

    def set_document(self, name: str, body: Mapping[str, Any], time_ms: int) -> None:
        """Keep one named record."""
        self._connection.execute("INSERT OR REPLACE INTO document VALUES (?, ?, ?)", (name, json.dumps(body), time_ms))

    def document(self, name: str) -> dict[str, Any] | None:
        """One named record."""
        row = self._reader().execute("SELECT body FROM document WHERE name = ?", (name,)).fetchone()
        return None if row is None else json.loads(row[0])

    def save_tracks(self, tracks: Iterable[Track]) -> None:
        """Keep tracks; idle ones are dropped."""
        for track in tracks:
            if track.idle:
                self._connection.execute("DELETE FROM track WHERE subject = ?", (track.subject.key,))
            else:
                body = json.dumps(_body(track))
                self._connection.execute("INSERT OR REPLACE INTO track VALUES (?, ?)", (track.subject.key, body))

    def tracks(self) -> list[Track]:
        """All tracks that are not idle."""
        return [_track(json.loads(body)) for (body,) in self._reader().execute("SELECT body FROM track")]

    def open_alert(self, row: Mapping[str, Any]) -> int:
        """Keep a new alert and return its id."""
        names = sorted(CHANGEABLE & row.keys())
        marks = ", ".join("?" * len(names))
        sql = f"INSERT INTO alert ({', '.join(names)}) VALUES ({marks})"  # noqa: S608 - names are our own columns
        return int(self._connection.execute(sql, [row[name] for name in names]).lastrowid or 0)

    def change_alert(self, alert: int, change: Mapping[str, Any]) -> None:
        """Change columns of an alert."""
        names = sorted(CHANGEABLE & change.keys())
        sets = ", ".join(f"{name} = ?" for name in names)
        sql = f"UPDATE alert SET {sets} WHERE id = ?"  # noqa: S608 - names are our own columns
        self._connection.execute(sql, [*(change[name] for name in names), alert])

    def standing(self, subject: str) -> AlertRow | None:
        """The alert of a subject that has not ended."""
        sql = f"SELECT {ALERT_COLUMNS} FROM alert WHERE ended_ms IS NULL AND subject = ? ORDER BY id DESC LIMIT 1"  # noqa: S608
        row = self._reader().execute(sql, (subject,)).fetchone()
        return None if row is None else AlertRow(*row)

    def stood(self, subject: str, start_ms: int, end_ms: int) -> list[tuple[int, int | None]]:
        """When a subject's alerts stood in a span."""
        sql = "SELECT since_ms, ended_ms FROM alert WHERE subject = ? AND since_ms < ? AND ifnull(ended_ms, ?) >= ?"
        return self._reader().execute(sql, (subject, end_ms, end_ms, start_ms)).fetchall()

    def alert(self, alert: int) -> AlertRow | None:
        """One alert."""
        row = self._reader().execute(f"SELECT {ALERT_COLUMNS} FROM alert WHERE id = ?", (alert,)).fetchone()  # noqa: S608
        return None if row is None else AlertRow(*row)

    def alerts(self, states: Sequence[AlertState] | None, most: int) -> list[AlertRow]:
        """Newest first."""
        sql = f"SELECT {ALERT_COLUMNS} FROM alert"  # noqa: S608 - names are our own columns
        if states is not None:
            sql += f" WHERE state IN ({', '.join('?' * len(states))})"
        rows = self._reader().execute(sql + " ORDER BY raised_ms DESC, id DESC LIMIT ?", [*(states or ()), most])
        return [AlertRow(*row) for row in rows]

    def add_event(self, alert: int, event: str, time_ms: int, person: str = "", text: str = "") -> None:
        """Note a step in an alert's life."""
        sql = "INSERT INTO alert_event (alert, event, time_ms, person, text) VALUES (?, ?, ?, ?, ?)"
        self._connection.execute(sql, (alert, event, time_ms, person, text))

    def events(self, alert: int) -> list[tuple[str, int, str, str]]:
        """Steps of an alert, oldest first."""
        sql = "SELECT event, time_ms, person, text FROM alert_event WHERE alert = ? ORDER BY id"
        return self._reader().execute(sql, (alert,)).fetchall()

    def post(self, alert: int | None, target: str, title: str, body: str, now_ms: int) -> None:
        """Put a message into the outbox."""
        sql = "INSERT INTO outbox (alert, target, title, body, created_ms, next_ms) VALUES (?, ?, ?, ?, ?, ?)"
        self._connection.execute(sql, (alert, target, title, body, now_ms, now_ms))

    def due(self, now_ms: int, most: int) -> list[OutboxRow]:
        """Messages to try now."""
        return self._outbox("delivered_ms IS NULL AND withdrawn_ms IS NULL AND next_ms <= ?", (now_ms, most))

    def undelivered(self, most: int) -> list[OutboxRow]:
        """Messages not delivered yet."""
        return self._outbox("delivered_ms IS NULL AND withdrawn_ms IS NULL", (most,))

    def _outbox(self, where: str, values: tuple[int, ...]) -> list[OutboxRow]:
        sql = f"SELECT {OUTBOX_COLUMNS} FROM outbox WHERE {where} ORDER BY id LIMIT ?"  # noqa: S608 - literals above
        return [OutboxRow(*row) for row in self._reader().execute(sql, values)]

    def tried(self, row: int, now_ms: int, next_ms: int, error: str) -> None:
        """A try failed."""
        sql = "UPDATE outbox SET attempts = attempts + 1, next_ms = ?, last_error = ? WHERE id = ?"
        self._connection.execute(sql, (next_ms, error[:500], row))

    def delivered(self, row: int, now_ms: int) -> None:
        """The notifier said it was delivered."""
        sql = "UPDATE outbox SET attempts = attempts + 1, delivered_ms = ?, last_error = '' WHERE id = ?"
        self._connection.execute(sql, (now_ms, row))

    def save_collector(self, name: str, body: Mapping[str, Any], now_ms: int) -> None:
        """Keep a collector's own word of itself."""
        sql = "INSERT OR REPLACE INTO collector VALUES (?, ?, ?)"
        self._connection.execute(sql, (name, json.dumps(body), now_ms))

    def collectors(self) -> list[tuple[str, dict[str, Any], int]]:
        """What each collector said, and when."""
        rows = self._reader().execute("SELECT name, body, seen_ms FROM collector ORDER BY name")
        return [(name, json.loads(body), seen_ms) for name, body, seen_ms in rows]

    def count_up(self, counts: Mapping[str, int]) -> None:
        """Add to named counters."""
        sql = "INSERT INTO counter VALUES (?, ?) ON CONFLICT DO UPDATE SET value = value + excluded.value"
        self._connection.executemany(sql, [(name, value) for name, value in counts.items() if value])

    def counters(self) -> dict[str, int]:
        """Named counters."""
        return dict(self._reader().execute("SELECT name, value FROM counter"))


def _body(track: Track) -> dict[str, Any]:
    """As ``asdict`` says it, which copies far and deep; with each pack the tracks that stand are kept anew."""
    subject = track.subject
    return {
        **{name: getattr(track, name) for name in TRACK_FIELDS},
        "subject": {name: getattr(subject, name) for name in SUBJECT_FIELDS},
    }


def _track(body: dict[str, Any]) -> Track:
    subject = body.pop("subject")
    quantity = subject["quantity"]
    return Track(
        Subject(
            subject["tank"],
            AlertKind(subject["kind"]),
            subject["probe"],
            Quantity(quantity) if quantity else None,
            subject.get("past", False),
        ),
        AlertState(body.pop("state")),
        Priority(level) if (level := body.pop("level")) else None,
        **body,
    )
