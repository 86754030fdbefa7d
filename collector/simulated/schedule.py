"""Which faults the demo has: two small ones in its past, three about the first start, and new ones for ever after.

Pure: times come in as arguments and chance from the seed. Must not say what a fault does (``faults.py``).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from api.domain.care import WARM_WATER
from api.domain.quantity import Quantity
from collector.simulated import probe_signal
from collector.simulated.faults import Fault, FaultKind
from collector.simulated.oxygen import Array
from collector.simulated.physics import Scene, march
from collector.simulated.room_air import DAY_MS, HOUR_MS
from collector.simulated.state import State, pick
from collector.simulated.tanks import Tanks

MINUTE_MS = 60_000
LEAD_MS = 3 * HOUR_MS
"""How long before the first start the opening faults may begin."""
CROSSING_MS = 75_000
"""How long after the first start the readings leave the tolerable band, so that alerts are up within 15 minutes."""
STARVED, HEATED, SILENT = "B2", "A2", "C1"
CLOSE_TANKS, SMALL_TANKS = ("B4", "C4", "B2"), ("A4", "A2")
OPENING_LASTS_MS = 75 * MINUTE_MS
"""Long enough for oxygen and warmth to reach the danger limits, short enough for the animals to be seen to recover."""
FIRST_LATER_MS, EVERY_MS = 5 * HOUR_MS, 5 * HOUR_MS + 30 * MINUTE_MS


def past(first_start_ms: int) -> tuple[Fault, ...]:
    """A water change, and an hour without air at night: nothing that harmed."""
    day = first_start_ms // DAY_MS * DAY_MS
    change, night = day - 3 * DAY_MS + 10 * HOUR_MS, day - 2 * DAY_MS + 2 * HOUR_MS
    return (
        Fault(FaultKind.WATER_CHANGE, "B3", change, change + 25 * MINUTE_MS, 0.3),
        Fault(FaultKind.AIR_LOST, "B1", night, night + HOUR_MS, 1.0),
    )


def opening(scene: Scene, before: State, first_start_ms: int, seed: int) -> tuple[Fault, ...]:
    """The three faults a newcomer meets, begun so that readings leave the tolerable band just after the first start.

    ``before`` is the room ``LEAD_MS`` before the first start.
    """
    offset_c, factor = probe_signal.calibration(seed, scene.tanks.count)
    ranges = {quantity: WARM_WATER.range_of(quantity) for quantity in (Quantity.OXYGEN, Quantity.TEMPERATURE)}
    oxygen, heat = ranges[Quantity.OXYGEN], ranges[Quantity.TEMPERATURE]
    low = oxygen.tolerable_low if oxygen and oxygen.tolerable_low is not None else 5.0
    high = heat.tolerable_high if heat and heat.tolerable_high is not None else 31.0
    faults = [Fault(FaultKind.PROBE_QUIET, SILENT, first_start_ms + 4 * MINUTE_MS, first_start_ms + 44 * MINUTE_MS)]
    if STARVED in scene.names:
        index = scene.names.index(STARVED)
        fault = Fault(FaultKind.AIR_LOST, STARVED, first_start_ms, first_start_ms + OPENING_LASTS_MS)
        faults.append(
            _begun(scene, before, fault, first_start_ms, "probe_mg_l", lambda seen: seen * factor[index] < low)
        )
    if HEATED in scene.names:
        index = scene.names.index(HEATED)
        fault = Fault(FaultKind.HEATER_STUCK_ON, HEATED, first_start_ms, first_start_ms + OPENING_LASTS_MS)
        faults.append(
            _begun(scene, before, fault, first_start_ms, "probe_c", lambda seen: seen + offset_c[index] > high)
        )
    return tuple(faults)


def _begun(
    scene: Scene, before: State, fault: Fault, first_start_ms: int, seen: str, beyond: Callable[[Array], Array]
) -> Fault:
    """The fault with the start that takes the probe out of its band nearest to ``CROSSING_MS`` after the first start.

    Every half minute of the lead is tried, each on its own copy of the tank.
    """
    leads = range(15 * MINUTE_MS, LEAD_MS, MINUTE_MS // 2)
    tried = [replace(fault, tank=f"{n}", start_ms=first_start_ms - lead) for n, lead in enumerate(leads)]
    index = scene.names.index(fault.tank or "")
    tanks = Tanks([scene.tanks.specs[index]] * len(tried), scene.tanks.pressure_kpa, scene.tanks.salinity_psu)
    copies = Scene(tanks, tuple(str(t.tank) for t in tried), scene.air, tuple(tried))
    late = np.full(len(tried), np.inf)
    for record, _ in march(copies, pick(before, [index] * len(tried)), first_start_ms + 10 * MINUTE_MS):
        out = beyond(record.values[seen])
        crossed = np.where(out.any(axis=0), record.times_ms[out.argmax(axis=0)], np.inf)
        late = np.minimum(late, crossed)
    best = int(np.argmin(np.abs(late - first_start_ms - CROSSING_MS)))
    # A tank so lightly stocked that it never leaves the band still shows a fault of the last hour.
    return replace(tried[best] if np.isfinite(late[best]) else tried[60], tank=fault.tank)


def later(seed: int, first_start_ms: int, tanks: Sequence[str], start_ms: int, end_ms: int) -> tuple[Fault, ...]:
    """The faults that touch the span from ``start_ms`` to ``end_ms``, one about every five and a half hours."""
    first = max(0, (start_ms - first_start_ms - FIRST_LATER_MS) // EVERY_MS - 2)
    last = (end_ms - first_start_ms - FIRST_LATER_MS) // EVERY_MS + 1
    faults = (_later(seed, first_start_ms, tanks, number) for number in range(first, last + 1))
    return tuple(f for f in faults if f is not None and f.end_ms > start_ms and f.start_ms < end_ms)


def _later(seed: int, first_start_ms: int, tanks: Sequence[str], number: int) -> Fault | None:
    chance = np.random.default_rng((abs(seed), 1, number))
    kind, choice, least_h, most_h = (
        (FaultKind.AIR_LOST, CLOSE_TANKS, 2.0, 3.0),
        (FaultKind.PROBE_QUIET, tuple(tanks), 0.5, 1.0),
        (FaultKind.HEATER_STUCK_ON, SMALL_TANKS, 2.0, 2.5),
    )[number % 3]
    there = [tank for tank in choice if tank in tanks]
    if not there:
        return None
    start = first_start_ms + FIRST_LATER_MS + number * EVERY_MS + int(chance.uniform(0, HOUR_MS))
    # Tanks take turns where few can show the fault, so that the same one does not fail twice running.
    tank = there[number // 3 % len(there)] if len(there) <= 3 else there[int(chance.integers(len(there)))]
    return Fault(kind, tank, start, start + int(chance.uniform(least_h, most_h) * HOUR_MS))
