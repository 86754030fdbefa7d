"""Each channel's newest recorded rows, remembered for the window that follows them, where they are still as kept.

Must not do: answer with rows that have changed since; the store's mark of the span tells.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from api.services.past_rows import Key
from api.storage.base import Store
from api.storage.past_base import Columns, joined, part

MOST_ROWS = 1_000_000
"""Rows remembered of all channels together; 40 bytes each."""


@dataclass(frozen=True, slots=True)
class Tail:
    """All of a channel's rows from the first to the last of these, and the store's mark of them."""

    rows: Columns
    mark: tuple[object, ...]


class Tails:
    """Kept rows around a window, from memory where that is right."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._tails: dict[Key, Tail] = {}
        self._rows = 0

    def kept(self, key: Key, start_ms: int, end_ms: int) -> Columns:
        """Kept rows of a span, with the one before it and the one after it."""
        past = self._store.past
        tail = self._right(key, start_ms, end_ms)
        if tail is None:
            before = past.before(*key, start_ms)
            after = past.after(*key, end_ms)
            return past.kept(*key, start_ms if before is None else before, end_ms if after is None else after + 1)
        first = max(int(np.searchsorted(tail.times_ms, start_ms)) - 1, 0)
        rows, next_ms = part(tail, first, len(tail.times_ms)), int(tail.times_ms[-1]) + 1
        if past.after(*key, next_ms) is None:
            return rows
        after = past.after(*key, max(end_ms, next_ms))
        return joined(rows, past.kept(*key, next_ms, end_ms if after is None else after + 1))

    def _right(self, key: Key, start_ms: int, end_ms: int) -> Columns | None:
        """A channel's tail, if it reaches as far back as the span and is as the store has it."""
        tail = self._tails.get(key)
        if tail is None or not tail.rows.times_ms[0] < start_ms <= tail.rows.times_ms[-1] < end_ms:
            return None
        times_ms = tail.rows.times_ms
        same = self._store.past.mark(*key, int(times_ms[0]), int(times_ms[-1]) + 1) == tail.mark
        return tail.rows if same else None

    def remember(self, key: Key, rows: Columns, from_ms: int, to_ms: int) -> None:
        """What is kept of a channel after a window: rows in a row, some of which are wanted again, and one before."""
        first, last = np.searchsorted(rows.times_ms, (from_ms, to_ms)).tolist()
        rows = part(rows, max(first - 1, 0), last)
        self._rows += len(rows.times_ms) - (len(self._tails[key].rows.times_ms) if key in self._tails else 0)
        mark = self._store.past.mark(*key, int(rows.times_ms[0]), int(rows.times_ms[-1]) + 1)
        self._tails[key] = Tail(rows, mark)
        if self._rows > MOST_ROWS:
            self.forget()

    def forget(self) -> None:
        """Begin anew."""
        self._tails.clear()
        self._rows = 0
