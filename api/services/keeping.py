"""What an import asks of those who keep past readings, as a protocol, and one way to do it: by packs of the line."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Protocol

from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from api.domain.senml import Refused
from api.intake.block import RefusedRow, Series
from api.services.ingest import Ingest
from api.storage.base import Store

PACK = 2_000


@dataclass(frozen=True, slots=True)
class Conflict:
    """A reading whose time holds another value already, which stays."""

    probe: str
    quantity: Quantity
    line: int
    time_ms: int
    kept_value: float
    kept_unit: str
    given_value: float
    given_unit: str


@dataclass(frozen=True, slots=True)
class Kept:
    """What became of some series."""

    accepted: int
    duplicate: int
    conflicts: tuple[Conflict, ...]
    refused: tuple[RefusedRow, ...]


class Keep(Protocol):
    """Keeps readings of the past as the line would, late."""

    def take(self, series: Sequence[Series], now_ms: int) -> Kept:
        """Keep them; returns after everything is committed."""

    def finish(self) -> None:
        """The file is over."""


class KeepInPacks:
    """Hands readings to the line, pack by pack."""

    def __init__(self, store: Store, ingest: Ingest) -> None:
        self._store, self._ingest = store, ingest

    def take(self, series: Sequence[Series], now_ms: int) -> Kept:
        """Keep them; see ``Keep``."""
        accepted = duplicate = 0
        refused: list[RefusedRow] = []
        conflicts = tuple(found for one in series for found in self._conflicts(one))
        rows = [row for one in series for row in _rows(one)]
        rows.sort(key=lambda row: row[0].time_ms)
        for start in range(0, len(rows), PACK):
            pack = rows[start : start + PACK]
            outcome = self._ingest.accept([reading for reading, _ in pack], now_ms).result()
            accepted += outcome.accepted
            duplicate += outcome.duplicate
            refused += [_refused(one, *pack[one.index]) for one in outcome.refused]
        return Kept(accepted, duplicate - len(conflicts), conflicts, tuple(refused))

    def finish(self) -> None:
        """Nothing waits here: what came late is gone over by itself."""

    def _conflicts(self, one: Series) -> Iterator[Conflict]:
        if not one.times_ms.size:
            return
        start_ms, end_ms = int(one.times_ms.min()), int(one.times_ms.max()) + 1
        rows = self._store.revisions.rows(one.probe, one.quantity, start_ms, end_ms)
        kept = {row.time_ms: (row.raw_value, row.raw_unit) for row in rows}
        for line, time_ms, value in zip(one.lines.tolist(), one.times_ms.tolist(), one.values.tolist(), strict=True):
            before = kept.setdefault(time_ms, (value, one.unit))
            if before != (value, one.unit):
                yield Conflict(one.probe, one.quantity, line, time_ms, *before, value, one.unit)


def _rows(one: Series) -> Iterator[tuple[RawReading, int]]:
    for line, time_ms, value in zip(one.lines.tolist(), one.times_ms.tolist(), one.values.tolist(), strict=True):
        yield RawReading(one.probe, one.quantity, time_ms, value, one.unit), line


def _refused(one: Refused, reading: RawReading, line: int) -> RefusedRow:
    return RefusedRow(line, f"{reading.probe}/{reading.quantity}", f"{reading.value:g} {reading.unit}", one.reason)
