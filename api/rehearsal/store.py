"""The store of a rehearsal that judges many readings at once: a channel's readings are put into it only when asked for.

What asks is the straight line through the last 40 minutes, for a channel without a forecast. Must not do: keep more.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from api.domain.quantity import Quantity
from api.services.recording import CheckedRecording, Key
from api.services.recording_derived import DerivedRecording
from api.storage.base import Revision
from api.storage.in_memory import InMemoryStore
from api.storage.spans import Summary


class LazyStore(InMemoryStore):
    """``up_to_ms``: the newest time whose readings have come."""

    def __init__(self) -> None:
        super().__init__()
        self.up_to_ms = -1
        self._checked: Mapping[Key, CheckedRecording] = {}
        self._stored: dict[Key, int] = {}
        self._readings = self.readings
        self.readings = _Asked(self)

    def give(self, checked: Mapping[Key, CheckedRecording]) -> None:
        """The recordings it may be asked for."""
        self._checked = checked

    def fill(self, key: Key, start_ms: int) -> None:
        """Keep what a channel said from a time on until now, as if each reading had just come."""
        checked = self._checked.get(key)
        if checked is None:
            return
        times_ms = checked.recording.times_ms
        first, end = (int(at) for at in np.searchsorted(times_ms, [start_ms, self.up_to_ms + 1]))
        done = self._stored.get(key, 0)
        for reading, revised in checked.steps(max(first, done), end):
            self._readings.append([reading])
            if revised is not None and revised.time_ms >= start_ms:
                self.revisions.revise([Revision(*key, revised.time_ms, revised.flag, revised.reason)])
        self._stored[key] = max(done, end)
        if isinstance(checked, DerivedRecording):
            self.revisions.rederive(*key, checked.made_again(first, end, self.up_to_ms))


class _Asked:
    """The readings, filled in before they are looked at."""

    def __init__(self, store: LazyStore) -> None:
        self._store, self._kept = store, store._readings

    def summaries(
        self, probe: str, quantity: Quantity, start_ms: int, end_ms: int, step_s: int, span_ms: int
    ) -> list[Summary]:
        """See ``ReadingStore``."""
        step_ms = step_s * 1000
        self._store.fill((probe, quantity), start_ms - start_ms % step_ms)
        return self._kept.summaries(probe, quantity, start_ms, end_ms, step_s, span_ms)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._kept, name)
