"""The forecasts of all tanks: begun from kept readings, gone on with reading by reading.

What a failed transaction did to a forecast cannot be undone, so such a tank is begun anew from the store. The pages
read from other threads what the writer's thread keeps up. Must not do: raise alerts (``judging.py``).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

from api.domain.alert import AlertKind
from api.domain.band import Side
from api.domain.cause import Cause
from api.domain.outlook import NOTHING, Outlook
from api.domain.quantity import Quantity
from api.domain.reading import CheckedReading
from api.judge.natures import NATURES
from api.judge.room_watch import Departure, RoomFinding, RoomWatch
from api.judge.swapped import Moved, moved, still_away, swapped
from api.judge.tank_watch import TankWatch
from api.science.pressure import standard_pressure_kpa
from api.services.plan import ChannelPlan

PAST_MS, SPAN_MS = 27 * 3_600_000, 300_000
"""A tank is begun from a day and three hours of 5-minute means: what is usual for a day, and what goes on now."""
History = Callable[[str, Quantity, int, int], Iterable[tuple[int, float]]]
"""Past means of a channel from a time until before another: (time_ms, value)."""


def no_history(probe: str, quantity: Quantity, start_ms: int, end_ms: int) -> Iterable[tuple[int, float]]:
    """Nothing is known of the past."""
    return ()


class Outlooks:
    """Every tank's forecast, and what the tanks do together."""

    def __init__(self, history: History = no_history) -> None:
        self._history = history
        self._tanks: dict[str, TankWatch] = {}
        self._job: set[str] = set()
        self._batch: set[str] = set()
        self.room = RoomWatch()

    def begin(self) -> None:
        """A new pack; what an earlier pack left half done is dropped."""
        self._forget(self._job)

    def done(self) -> None:
        """The pack's work succeeded."""
        self._batch |= self._job
        self._job.clear()

    def settle(self, kept: bool) -> None:
        """The transaction ended."""
        if kept:
            self._batch.clear()
        else:
            self._forget(self._batch)
            self._forget(self._job)

    def _forget(self, tanks: set[str]) -> None:
        for tank in tanks:
            self._tanks.pop(tank, None)
            self.room.forget(tank)
        tanks.clear()

    def take(self, reading: CheckedReading, channel: ChannelPlan) -> TankWatch | None:
        """A believable reading of a tank. The tank's forecast when there is something new to judge."""
        if channel.tank is None or reading.value is None:
            return None
        tank = channel.tank.id
        self._job.add(tank)
        watch = self._tanks.get(tank)
        if watch is None:
            watch = self._tanks[tank] = TankWatch(standard_pressure_kpa(channel.altitude_m))
        key = (reading.probe, reading.quantity)
        begun = watch.flow_usual is not None if reading.quantity is Quantity.FLOW else key in watch.channels
        if not begun and (reading.quantity in NATURES or reading.quantity is Quantity.FLOW):
            self._recall(watch, reading, channel)
        if not watch.take(*key, reading.time_ms, reading.value, channel.care, channel.every_s):
            return None
        return watch

    def _recall(self, watch: TankWatch, reading: CheckedReading, channel: ChannelPlan) -> None:
        """Begin a channel from its kept past: spans that are over, so that no mean is of a time to come."""
        key, now_ms = (reading.probe, reading.quantity), reading.time_ms
        for time_ms, mean in self._history(*key, now_ms - PAST_MS, now_ms - now_ms % SPAN_MS):
            watch.take(*key, time_ms, mean, channel.care, max(channel.every_s, SPAN_MS / 1000), past=True)
        own = watch.channels.get(key)
        if own is not None:
            own.renew(channel.every_s)

    def changed(self, tank: str, watch: TankWatch, now_ms: int) -> bool:
        """Note how the tank fares beside the others. True when that is otherwise than before."""
        heat, oxygen = watch.departs(Quantity.TEMPERATURE), watch.departs(Quantity.OXYGEN)
        if not oxygen:
            oxygen = watch.departs(Quantity.OXYGEN_SATURATION)
        starves, urgent = watch.starves()
        return self.room.take(tank, Departure(now_ms, heat, oxygen, starves, urgent))

    def health(self, tank: str, watch: TankWatch, probe: str, now_ms: int) -> tuple[Quantity, Cause] | None:
        """Why a probe of the tank cannot be believed, by itself or beside the probes of other tanks."""
        noted = watch.swaps.get(probe)
        if noted is not None and not still_away(noted[0], watch.channels):
            del watch.swaps[probe]
        elif noted is None and (one := moved(tank, watch.channels, probe, now_ms)) is not None:
            found = swapped(one, self._moved_elsewhere(tank, now_ms))
            if found is not None:
                other, cause = found
                watch.swaps[probe] = (one, cause)
                self._tanks[other.tank].swaps[other.probe] = (other, cause)
        return watch.health(probe, now_ms)

    def _moved_elsewhere(self, tank: str, now_ms: int) -> Iterable[Moved]:
        """Probes of other tanks that were moved within the hour."""
        for name, watch in self._tanks.items():
            if name != tank:
                for probe in dict.fromkeys(probe for probe, _ in watch.channels):
                    if (other := moved(name, watch.channels, probe, now_ms)) is not None:
                        yield other

    def findings(self, now_ms: int) -> dict[AlertKind, RoomFinding | None]:
        """What the whole room does."""
        return self.room.findings(now_ms)

    def tank(self, tank: str | None) -> TankWatch | None:
        """One tank's forecast."""
        return self._tanks.get(tank) if tank is not None else None

    def outlook(self, channel: ChannelPlan, probe: str, quantity: Quantity) -> Outlook:
        """Where one channel is heading."""
        watch = self.tank(channel.tank.id if channel.tank else None)
        return NOTHING if watch is None else watch.outlook(probe, quantity, channel.care)

    def why(self, tank: str, probe: str, quantity: Quantity, side: Side | None, now_ms: int) -> tuple[Cause, ...]:
        """What may have happened to a tank, the likeliest first."""
        watch = self._tanks.get(tank)
        if watch is None:
            return ()
        watch.others = self.room.others(tank, now_ms)
        return watch.why(probe, quantity, side, now_ms)
