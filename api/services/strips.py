"""Night strips: one tank's last 24 hours in cells of five minutes, each the worst band of its quantities.

Closed cells are kept until the next one closes, so that many pages cost little. Must not do: decide what is urgent.
"""

from __future__ import annotations

from api.domain.band import SEVERITY, Band
from api.domain.care import CareRange
from api.domain.quantity import Quantity
from api.judge.assess import assess
from api.services.answers import StripCell
from api.services.plan import RoomPlan
from api.storage.base import Store
from api.storage.spans import Summary

CELL_MS = 300_000
CELLS = 288


class Strips:
    """Makes and remembers strips."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._closed: dict[tuple[str, Quantity], tuple[int, CareRange, dict[int, Band], bool]] = {}

    def strip(self, tank: str, plan: RoomPlan, now_ms: int) -> tuple[StripCell, ...]:
        """The tank's cells, oldest first; the last one is still filling. A cell without a usable value is UNKNOWN.

        A probe that came within these hours counts from its first reading on.
        """
        newest_ms = now_ms - now_ms % CELL_MS
        starts = range(newest_ms - (CELLS - 1) * CELL_MS, newest_ms + 1, CELL_MS)
        channels = [
            (probe.id, value.quantity, care)
            for probe in plan.heard_in(tank)
            for value in probe.values
            if (care := plan.channel(probe.id, value.quantity).care) is not None
        ]
        derived = [
            (probe.id, quantity, care)
            for probe in plan.heard_in(tank)
            for quantity in (Quantity.OXYGEN, Quantity.OXYGEN_SATURATION)
            if not plan.measures(probe.id, quantity)
            and any(v.quantity in (Quantity.OXYGEN, Quantity.OXYGEN_SATURATION) for v in probe.values)
            and (care := plan.channel(probe.id, quantity).care) is not None
        ]
        bands = [self._bands(*channel, starts) for channel in [*channels, *derived]]
        return tuple(
            StripCell(start, _worst([band.get(start, Band.UNKNOWN) for band, since_ms in bands if start >= since_ms]))
            for start in starts
        )

    def _bands(self, probe: str, quantity: Quantity, care: CareRange, starts: range) -> tuple[dict[int, Band], int]:
        """Bands by cell, and the first cell that counts."""
        key = (probe, quantity)
        known = self._closed.get(key)
        if known is None or known[0] != starts[-1] or known[1] != care:
            spans = self._store.readings.summaries(probe, quantity, starts[0], starts[-1], 300, CELL_MS)
            old = bool(self._store.revisions.newest(probe, quantity, starts[0], 1))
            known = (starts[-1], care, {span.start_ms: band_of(span, care) for span in spans}, old)
            self._closed[key] = known
        open_spans = self._store.readings.summaries(probe, quantity, starts[-1], starts[-1] + CELL_MS, 300, CELL_MS)
        bands = {**known[2], **{span.start_ms: band_of(span, care) for span in open_spans}}
        return bands, starts[0] if known[3] else min(bands, default=starts[0])


def band_of(span: Summary, care: CareRange) -> Band:
    """The worse band of a span's lowest and highest value."""
    if not span.count:
        return Band.UNKNOWN
    return _worst([assess(span.low, care).band, assess(span.high, care).band])


def _worst(bands: list[Band]) -> Band:
    return max(bands, key=SEVERITY.__getitem__, default=Band.UNKNOWN)
