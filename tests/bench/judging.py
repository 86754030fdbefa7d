"""Readings judged a second on one core, beside a bare loop over the same readings, in one run.

    python -m tests.bench.judging [--tanks 20] [--hours 48] [--every 60]

Judged is the whole of it: quality checks, care ranges, forecast with its interval, probe health, causes, alert life
cycle; everything but converting and keeping (``tests.bench.readings``). Every fourth tank loses its air or its heater
sticks on, so that alerts are raised, explained and followed. The bare loop compares each reading with fixed limits.
Goal: 20,000 readings a second or more.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable
from typing import Any

import numpy as np

from api.domain.alert import AlertEvent, Event
from api.domain.care import WARM_WATER
from api.domain.quantity import Quantity
from api.domain.reading import CheckedReading, Flag
from api.domain.tank import Probe, Room, ServiceSettings, Tank, Value
from api.judge.check_stream import Stream
from api.services.checked import with_flag
from api.services.plan import RoomPlan
from tests.support.bare_judging import bare_judging

START_MS = 1_700_000_000_000
Row = list[tuple[str, Quantity, float]]


def plan_of(tanks: int, every_s: float) -> RoomPlan:
    """A room of so many tanks with a probe each."""
    values = (Value(Quantity.TEMPERATURE, "Cel"), Value(Quantity.OXYGEN, "mg/L"))
    return RoomPlan(
        room=Room("bench", "UTC"),
        tanks={f"T{n}": Tank(f"T{n}", f"T{n}", 40.0) for n in range(tanks)},
        probes={f"p{n}": Probe(f"p{n}", "none", f"T{n}", every_s, values) for n in range(tanks)},
        care={WARM_WATER.name: WARM_WATER},
        notify=(),
        settings=ServiceSettings(),
    )


def rows(tanks: int, hours: float, every_s: float) -> list[tuple[int, Row]]:
    """Thermostat turns, a day's oxygen, a probe's noise; in every fourth tank something goes wrong near the end."""
    chance, count = np.random.default_rng(7), int(hours * 3600 / every_s)
    hour = np.arange(count)[:, None] * every_s / 3600
    phase = chance.uniform(0, 24, tanks)
    warm = 26.0 + 0.15 * np.sin(hour * 9 + phase) + 0.012 * chance.standard_normal((count, tanks))
    oxygen = 7.2 + 0.3 * np.cos((hour + phase) * np.pi / 12) + 0.012 * chance.standard_normal((count, tanks))
    since = np.maximum(0.0, hour[:, 0] - hours + 6.0)
    for tank in range(0, tanks, 4):
        oxygen[:, tank] -= 9.0 * (1 - np.exp(-0.1 * since)) if tank % 8 == 0 else 0.0
        warm[:, tank] += 12.0 * (1 - np.exp(-0.15 * since)) if tank % 8 else 0.0
    low: Any = np.round(np.maximum(oxygen, 0.0), 2)
    warm, oxygen = np.round(warm, 2), low
    out = []
    for place in range(count):
        row: Row = []
        for tank in range(tanks):
            row.append((f"p{tank}", Quantity.TEMPERATURE, float(warm[place, tank])))
            row.append((f"p{tank}", Quantity.OXYGEN, float(oxygen[place, tank])))
        out.append((START_MS + round(place * every_s * 1000), row))
    return out


def judged(plan: RoomPlan, said: list[tuple[int, Row]]) -> tuple[float, list[AlertEvent]]:
    """Seconds for all readings, and what was raised."""
    judging, events = bare_judging(), list[AlertEvent]()
    channels = {(p, q): plan.channel(p, q) for p in plan.probes for q in (Quantity.TEMPERATURE, Quantity.OXYGEN)}
    streams = {key: Stream(channel.limits, key[1]) for key, channel in channels.items()}
    began = time.process_time()
    for time_ms, row in said:
        judging.begin()
        for probe, quantity, value in row:
            key = (probe, quantity)
            reading = CheckedReading(probe, quantity, time_ms, value, "x", value, Flag.GOOD)
            step = streams[key].step(time_ms, value)
            judging.judge(with_flag(reading, step.flag, step.reason), channels[key], False, events)
        judging.done()
        judging.settle(True)
    return time.process_time() - began, events


def bare(plan: RoomPlan, said: list[tuple[int, Row]]) -> float:
    """Seconds for the least that an alarm could do: make the reading and compare it with fixed limits."""
    limits = {
        quantity: (care.tolerable_low or -1e9, care.tolerable_high or 1e9)
        for quantity in (Quantity.TEMPERATURE, Quantity.OXYGEN)
        if (care := WARM_WATER.range_of(quantity)) is not None
    }
    since: dict[tuple[str, Quantity], int] = {}
    began = time.process_time()
    for time_ms, row in said:
        for probe, quantity, value in row:
            reading = CheckedReading(probe, quantity, time_ms, value, "x", value, Flag.GOOD)
            low, high = limits[quantity]
            if low <= value <= high:
                since.pop((probe, quantity), None)
            else:
                since.setdefault((probe, quantity), reading.time_ms)
    return time.process_time() - began


def main(run: Callable[[str], None] = print) -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(prog="tests.bench.judging")
    parser.add_argument("--tanks", type=int, default=20)
    parser.add_argument("--hours", type=float, default=48.0)
    parser.add_argument("--every", type=float, default=60.0)
    asked = parser.parse_args()
    plan, said = plan_of(asked.tanks, asked.every), rows(asked.tanks, asked.hours, asked.every)
    count = sum(len(row) for _, row in said)
    bare_s = bare(plan, said)
    ours_s, events = judged(plan, said)
    raised = sum(event.event in (Event.RAISED, Event.ESCALATED) for event in events)
    run(f"{count} readings of {asked.tanks} tanks, one every {asked.every:g} s; {raised} alerts raised or escalated")
    run(f"judged:    {count / ours_s:>10,.0f} readings a second on one core (goal 20,000)")
    run(f"bare loop: {count / bare_s:>10,.0f} readings a second; judging costs {ours_s / bare_s:.1f} times as much")


if __name__ == "__main__":
    main()
