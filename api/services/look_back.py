"""Looking back: every molt interval beside the water it was spent in, how long it took and what the animal gained.

Water is of the tanks the animal sat in, by hourly means. Must not do: fill gaps, or compare animals by itself.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np

from api.domain.care import CareRange
from api.domain.life import Life
from api.domain.quantity import Quantity
from api.judge.conditions import Means, means_of
from api.molt.lookback import PastInterval, past_intervals
from api.molt.water_kept import Kept, kept
from api.services.animal_csv import written
from api.services.kept_means import kept_means
from api.services.lives import Lives
from api.services.molts import Molts
from api.services.plan import RoomPlan
from api.storage.base import Store

__all__ = ["Interval", "LookBack", "PastInterval", "intervals_csv"]
HOUR_S, HOUR_MS = 3600, 3_600_000
COLUMNS = (
    "animal", "name", "species", "from", "to", "ended", "days", "degree_days", "temperature_known",
    "temperature_mean_c",
    "temperature_low_c", "temperature_high_c", "oxygen_known", "oxygen_mean_mg_l", "oxygen_low_mg_l",
    "oxygen_in_target", "carapace_before_mm", "carapace_after_mm", "gain",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class WaterOf:
    """A quantity over an interval: mean and extremes in its canonical unit, shares as in ``Kept``; None: no record."""

    mean: float | None
    kept: Kept | None


@dataclass(frozen=True, slots=True)
class Interval:
    """One interval of an animal with its water. ``gain`` is the share the carapace grew by; None: not measured."""

    life: Life
    interval: PastInterval
    temperature: WaterOf
    oxygen: WaterOf

    @property
    def gain(self) -> float | None:
        """How much longer it was after the molt that ended the interval, as a share."""
        before, after = self.interval.before_mm, self.interval.after_mm
        return None if before is None or after is None else after / before - 1.0


class LookBack:
    """Makes them."""

    def __init__(self, store: Store, plan: Callable[[], RoomPlan], lives: Lives, molts: Molts) -> None:
        self._store, self._plan, self._lives, self._molts = store, plan, lives, molts

    def intervals(self, now_ms: int, animals: Collection[int] | None = None) -> tuple[Interval, ...]:
        """Every interval that began with a molt, of some animals or of all, in the order of animals and time."""
        wanted = None if animals is None else set(animals)
        lives = {number: life for number, life in self._lives.all().items() if wanted is None or number in wanted}
        found = past_intervals(lives.values(), self._molts.water(lives, now_ms), now_ms)
        read = _Tanks(self._store, self._plan())
        return tuple(
            Interval(
                lives[one.animal], one,
                read.of(lives[one.animal], one, Quantity.TEMPERATURE), read.of(lives[one.animal], one, Quantity.OXYGEN),
            )
            for one in found
        )  # fmt: skip


class _Tanks:
    """Each tank's hours, read once."""

    def __init__(self, store: Store, plan: RoomPlan) -> None:
        self._store, self._plan = store, plan
        self._hours: dict[tuple[str, Quantity], Means] = {}

    def of(self, life: Life, one: PastInterval, quantity: Quantity) -> WaterOf:
        """A quantity over an interval, wherever the animal sat."""
        parts = []
        care: CareRange | None = None
        for stay in life.stays:
            start_ms, end_ms = max(stay.since_ms, one.from_ms), min(stay.until_ms or one.to_ms, one.to_ms)
            tank = self._plan.tanks.get(stay.tank)
            if start_ms < end_ms and tank is not None:
                parts.append(_cut(self._of_tank(stay.tank, quantity), start_ms, end_ms))
                care = self._plan.range_of(tank, quantity) or care
        if not parts or one.to_ms <= one.from_ms:
            return WaterOf(None, None)
        rows = Means(
            np.concatenate([part.start_ms for part in parts]), np.concatenate([part.mean for part in parts]),
            np.concatenate([part.low for part in parts]), np.concatenate([part.high for part in parts]), HOUR_MS,
        )  # fmt: skip
        if not rows.start_ms.size:
            return WaterOf(None, None)
        # hours are kept from their start: the first may begin a little before the interval
        first_ms = min(one.from_ms, int(rows.start_ms[0]))
        return WaterOf(float(rows.mean.mean()), kept(rows, care or CareRange(quantity), first_ms, one.to_ms))

    def _of_tank(self, tank: str, quantity: Quantity) -> Means:
        known = self._hours.get((tank, quantity))
        if known is None:
            known = self._hours[tank, quantity] = self._read(tank, quantity)
        return known

    def _read(self, tank: str, quantity: Quantity) -> Means:
        """Of several probes the mean of their means, the lowest and the highest."""
        hours: dict[int, list[tuple[float, float, float]]] = {}
        for probe in self._plan.probes_of(tank):
            rows = kept_means(self._store, probe.id, quantity, 0, 2**62, HOUR_S)
            columns = (rows.start_ms, rows.mean, rows.low, rows.high)
            for hour, mean, low, high in zip(*(column.tolist() for column in columns), strict=True):
                hours.setdefault(hour, []).append((mean, low, high))
        return means_of(
            [
                (hour, sum(m for m, _, _ in some) / len(some), min(a for _, a, _ in some), max(b for _, _, b in some))
                for hour, some in sorted(hours.items())
            ],
            HOUR_MS,
        )


def _cut(hours: Means, start_ms: int, end_ms: int) -> Means:
    """The hours that lie in a time by their middle."""
    middle = hours.start_ms + HOUR_MS // 2
    return hours.where((middle >= start_ms) & (middle < end_ms))


def intervals_csv(intervals: Iterable[Interval]) -> str:
    """Intervals as CSV, times in UTC; shares and gain from 0 to 1."""
    return written(COLUMNS, [_row(one) for one in intervals])


def _row(one: Interval) -> tuple[object, ...]:
    span, warm, air = one.interval, one.temperature, one.oxygen

    def told(time_ms: int) -> str:
        return datetime.fromtimestamp(time_ms / 1000, UTC).isoformat(timespec="seconds")

    return (
        span.animal, one.life.animal.name, one.life.animal.species, told(span.from_ms), told(span.to_ms),
        "yes" if span.ended else "no", round(span.days, 2), round(span.degree_days, 1),
        _round(warm.kept.known if warm.kept else 0.0, 3), _round(warm.mean, 3),
        _round(warm.kept.lowest if warm.kept else None, 3), _round(warm.kept.highest if warm.kept else None, 3),
        _round(air.kept.known if air.kept else 0.0, 3), _round(air.mean, 3),
        _round(air.kept.lowest if air.kept else None, 3), _round(air.kept.in_target if air.kept else None, 3),
        span.before_mm, span.after_mm, _round(one.gain, 4),
    )  # fmt: skip


def _round(value: float | None, digits: int) -> float | None:
    return None if value is None else round(value, digits)
