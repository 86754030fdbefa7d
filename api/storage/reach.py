"""Ladders, tellings and links used, in SQLite. Must not do: decide who is told (``api/judge/ladder.py``)."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Sequence

from api.judge.ladder import Ladder
from api.storage.reach_base import ALERT, LinkUse, SentTest

WAITS = "delivered_ms IS NULL AND withdrawn_ms IS NULL"


class SqliteReach:
    """A ``ReachStore`` on SQLite."""

    def __init__(self, connection: sqlite3.Connection, reader: Callable[[], sqlite3.Connection]) -> None:
        self._connection, self._reader = connection, reader

    def start(self, alert: int, now_ms: int) -> None:
        """An alert has to be told, or told anew."""
        known = self.ladder(alert)
        # no order yet: the next round finds out whose turn it is
        self.keep(Ladder(alert, next_ms=now_ms, tells=known.tells if known is not None else 0))

    def ladders(self) -> list[Ladder]:
        """Ladders of alerts that are not over yet."""
        rows = self._reader().execute("SELECT alert, next_ms, body FROM ladder ORDER BY alert")
        return [Ladder.of(alert, next_ms, json.loads(body)) for alert, next_ms, body in rows]

    def ladder(self, alert: int) -> Ladder | None:
        """The ladder of one alert."""
        row = self._reader().execute("SELECT next_ms, body FROM ladder WHERE alert = ?", (alert,)).fetchone()
        return None if row is None else Ladder.of(alert, row[0], json.loads(row[1]))

    def keep(self, ladder: Ladder) -> None:
        """Keep how far a ladder is."""
        sql = "INSERT OR REPLACE INTO ladder VALUES (?, ?, ?)"
        self._connection.execute(sql, (ladder.alert, ladder.next_ms, json.dumps(ladder.body())))

    def drop(self, alert: int) -> None:
        """Everyone who was told of it knows it is over."""
        self._connection.execute("DELETE FROM ladder WHERE alert = ?", (alert,))

    def tell(
        self, target: str, title: str, body: str, tells: Sequence[tuple[int, int]], now_ms: int, purpose: str = ALERT
    ) -> int:
        """Put one message into the outbox."""
        self._withdraw(target, {alert for alert, _ in tells}, now_ms, purpose)
        sql = (
            "INSERT INTO outbox (alert, target, title, body, created_ms, next_ms, purpose) VALUES (?, ?, ?, ?, ?, ?, ?)"
        )
        first = tells[0][0] if tells else None
        row = int(self._connection.execute(sql, (first, target, title, body, now_ms, now_ms, purpose)).lastrowid or 0)
        rows = [(row, alert, target, tell) for alert, tell in tells]
        self._connection.executemany("INSERT INTO told VALUES (?, ?, ?, ?)", rows)
        return row

    def _withdraw(self, target: str, alerts: set[int], now_ms: int, purpose: str) -> None:
        sql = f"SELECT id FROM outbox WHERE target = ? AND purpose = ? AND attempts > 0 AND {WAITS}"  # noqa: S608
        for (row,) in self._connection.execute(sql, (target, purpose)).fetchall():
            told = {alert for (alert,) in self._connection.execute("SELECT alert FROM told WHERE outbox = ?", (row,))}
            if purpose != ALERT or (told and told <= alerts):
                self._connection.execute("UPDATE outbox SET withdrawn_ms = ? WHERE id = ?", (now_ms, row))

    def told_targets(self, alert: int) -> list[str]:
        """Who was told of an alert."""
        sql = "SELECT target FROM told WHERE alert = ? GROUP BY target ORDER BY min(outbox)"
        return [target for (target,) in self._reader().execute(sql, (alert,))]

    def heard(self, alert: int, target: str) -> bool:
        """Whether any message about an alert was put out for a target."""
        sql = """
            SELECT EXISTS (SELECT 1 FROM outbox WHERE target = ? AND alert = ?)
            OR EXISTS (SELECT 1 FROM told WHERE alert = ? AND target = ?)
            """
        return bool(self._reader().execute(sql, (target, alert, alert, target)).fetchone()[0])

    def reached(self, alert: int, tell: int) -> bool | None:
        """Whether a telling reached anybody."""
        sql = """
            SELECT count(*), sum(delivered_ms IS NOT NULL), sum(attempts > 0)
            FROM told JOIN outbox ON outbox.id = told.outbox WHERE told.alert = ? AND told.tell = ?
            """
        count, delivered, tried = self._reader().execute(sql, (alert, tell)).fetchone()
        if delivered:
            return True
        return None if count == 0 or tried < count else False

    def last_ms(self, target: str, other_than: int) -> int | None:
        """When a message about any other alert was last put out for a target."""
        sql = """
            SELECT created_ms FROM outbox WHERE target = ? AND purpose = 'alert'
            AND NOT EXISTS (SELECT 1 FROM told WHERE told.outbox = outbox.id AND told.alert = ?)
            ORDER BY created_ms DESC LIMIT 1
            """
        found = self._reader().execute(sql, (target, other_than)).fetchone()
        return None if found is None else int(found[0])

    def use_link(self, link: str, use: LinkUse) -> bool:
        """Note that a link was used."""
        sql = "INSERT OR IGNORE INTO link_use VALUES (?, ?, ?, ?)"
        return self._connection.execute(sql, (link, *use)).rowcount == 1

    def link_use(self, link: str) -> LinkUse | None:
        """What became of a link."""
        row = self._reader().execute("SELECT person, answer, time_ms FROM link_use WHERE link = ?", (link,)).fetchone()
        return None if row is None else LinkUse(*row)

    def tests(self) -> list[SentTest]:
        """The newest test message of each target."""
        sql = """
            SELECT target, created_ms, attempts, delivered_ms, last_error FROM outbox
            WHERE id IN (SELECT max(id) FROM outbox WHERE purpose = 'test' GROUP BY target) ORDER BY target
            """
        return [SentTest(*row) for row in self._reader().execute(sql)]
