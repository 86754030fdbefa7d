"""The danger limits the service last told, kept on the disk, and a watch over readings that uses them.

Limits are in each probe's own unit: the collector knows no chemistry. Must not do: notify (``voice.py``).
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from math import isfinite
from pathlib import Path
from typing import Any

from api.domain.reading import RawReading

FILE = "danger.json"
READINGS = 2
"""Readings in a row beyond a limit before it is believed."""
MOST = 5000


@dataclass(frozen=True, slots=True)
class Limit:
    """One probe's one quantity and the values, as the probe says them, beyond which animals are in danger."""

    probe: str
    quantity: str
    label: str
    unit: str
    tank: str
    low: float | None
    high: float | None
    delay_s: float
    low_check: str
    high_check: str


def limits_of(body: Any) -> tuple[Limit, ...] | None:
    """The limits in a service's answer; None when it holds none that can be read."""
    rows = body.get("danger") if isinstance(body, Mapping) else None
    if not isinstance(rows, list):
        return None
    found = (_limit(row) for row in rows[:MOST] if isinstance(row, Mapping))
    return tuple(limit for limit in found if limit is not None)


def _limit(row: Mapping[str, Any]) -> Limit | None:
    texts = {name: str(row.get(name, ""))[:300] for name in Limit.__slots__ if name not in ("low", "high", "delay_s")}
    low, high, delay_s = _number(row.get("low")), _number(row.get("high")), _number(row.get("delay_s"))
    if not texts["probe"] or (low is None and high is None):
        return None
    return Limit(**texts, low=low, high=high, delay_s=delay_s or 0.0)


def _number(value: Any) -> float | None:
    if isinstance(value, bool) or not isinstance(value, int | float) or not isfinite(value):
        return None
    return float(value)


class KeptLimits:
    """Limits on the disk, so that a collector that starts while the service is dead has them."""

    def __init__(self, folder: Path) -> None:
        self._path = folder / FILE
        self.limits = self._read()

    def _read(self) -> tuple[Limit, ...]:
        try:
            return limits_of(json.loads(self._path.read_text(encoding="utf-8"))) or ()
        except (OSError, ValueError):
            return ()

    def take(self, body: Any) -> None:
        """Keep what an answer holds; an answer without limits changes nothing. Raises OSError."""
        found = limits_of(body)
        if found is None or found == self.limits:
            return
        self.limits = found
        rows = [{name: getattr(limit, name) for name in Limit.__slots__} for limit in found]
        fresh = self._path.with_suffix(".new")
        fresh.write_text(json.dumps({"danger": rows}), encoding="utf-8")
        os.replace(fresh, self._path)


@dataclass(slots=True)
class Beyond:
    """How long a probe's quantity has been beyond its limit."""

    since_ms: int
    readings: int = 1
    value: float = 0.0
    limit: float = 0.0
    high: bool = False


@dataclass(slots=True)
class DangerWatch:
    """Looks at every reading; ``beyond`` holds what is beyond its limit now, ``heard`` what was looked at at all."""

    beyond: dict[tuple[str, str], Beyond] = field(default_factory=dict)
    heard: set[str] = field(default_factory=set)

    def hear(self, readings: Sequence[RawReading], limits: Mapping[tuple[str, str], Limit], now_ms: int) -> None:
        """Readings of one probe, in the order it spoke; what counts is when they came, for their times may be unset."""
        for reading in readings:
            key = (reading.probe, str(reading.quantity))
            limit = limits.get(key)
            if limit is None or reading.unit != limit.unit:
                continue
            self.heard.add("/".join(key))
            high = limit.high is not None and reading.value > limit.high
            low = limit.low is not None and reading.value < limit.low
            if not (high or low):
                self.beyond.pop(key, None)
                continue
            known = self.beyond.get(key)
            if known is None or known.high is not high:
                known = self.beyond[key] = Beyond(now_ms, 0)
            known.readings += 1
            known.value, known.high = reading.value, high
            known.limit = (limit.high if high else limit.low) or 0.0

    def dangers(self, limits: Mapping[tuple[str, str], Limit], now_ms: int) -> list[tuple[Limit, Beyond]]:
        """What has been beyond its limit for long enough, in several readings."""
        return [
            (limits[key], one)
            for key, one in self.beyond.items()
            if key in limits and one.readings >= READINGS and now_ms - one.since_ms >= limits[key].delay_s * 1000
        ]
