"""What the line remembers between packs, undone together with the transaction it belongs to.

Three layers: settled (committed), batch (of the open transaction), job (of the pack at work). Used by the writer only.
"""

from __future__ import annotations

from typing import Any, Generic, TypeVar

K = TypeVar("K")
V = TypeVar("V")
_GONE: Any = object()


class Layered(Generic[K, V]):
    """A dictionary whose newest changes can be dropped or kept."""

    def __init__(self) -> None:
        self.settled: dict[K, V] = {}
        self._batch: dict[K, V] = {}
        self._job: dict[K, V] = {}

    def get(self, key: K) -> V | None:
        """The newest value, None when there is none."""
        if self._job and (found := self._job.get(key, _GONE)) is not _GONE:
            return found  # type: ignore[no-any-return]
        if self._batch and (found := self._batch.get(key, _GONE)) is not _GONE:
            return found  # type: ignore[no-any-return]
        return self.settled.get(key)

    def all(self) -> list[V]:
        """All newest values."""
        if not self._batch and not self._job:
            return list(self.settled.values())
        return list({**self.settled, **self._batch, **self._job}.values())

    def put(self, key: K, value: V) -> None:
        """Set a value for the pack at work."""
        self._job[key] = value

    def begin(self) -> None:
        """A new pack: what an earlier pack left half done is dropped."""
        self._job.clear()

    def changed(self) -> dict[K, V]:
        """What the pack at work has changed."""
        return self._job

    def done(self) -> None:
        """The pack's work succeeded; it now waits for the commit."""
        self._batch.update(self._job)
        self._job.clear()

    def settle(self, kept: bool) -> None:
        """The transaction ended: keep its changes or forget them."""
        if kept:
            self.settled.update(self._batch)
        self._batch.clear()
        self._job.clear()
