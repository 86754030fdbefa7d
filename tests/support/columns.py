"""Readings as the columns a rehearsal takes."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from api.domain.reading import RawReading
from api.services.recording import Key, Recording


def recordings(readings: Iterable[RawReading]) -> list[Recording]:
    """Readings in the order of time, sorted into channels; of two of one channel and time the first is kept."""
    found: dict[Key, tuple[list[int], list[float], list[str], list[int]]] = {}
    for place, one in enumerate(readings):
        key = (one.probe, one.quantity)
        times, raws, units, places = found.get(key) or found.setdefault(key, ([], [], [], []))
        if not times or one.time_ms > times[-1]:
            times.append(one.time_ms)
            raws.append(one.value)
            units.append(one.unit)
            places.append(place)
    return [
        Recording(
            *key, np.array(times, np.int64), np.array(raws), units[0] if len(set(units)) == 1 else units,
            np.array(places, np.int64),
        )
        for key, (times, raws, units, places) in found.items()
    ]  # fmt: skip
