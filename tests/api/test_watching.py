"""What raises, and what must not: falls and their limits, cans of water, lifted, stuck and jumping probes, whole rooms.

The water is written out here from its laws (Newton's cooling, first-order gas exchange); noise is a usual probe's.
"""

from __future__ import annotations

from collections.abc import Callable
from math import exp

import numpy as np
import pytest

from api.domain.alert import AlertKind, Priority
from api.domain.band import Side
from api.domain.care import WARM_WATER
from api.domain.cause import CauseName
from api.domain.quantity import Quantity
from api.judge.room_watch import Departure, RoomWatch
from api.judge.tank_watch import TankWatch
from api.science.oxygen import saturation_mg_l

MINUTE_MS, HOUR_MS = 60_000, 3_600_000
Q = Quantity
CARE = {quantity: WARM_WATER.range_of(quantity) for quantity in (Q.TEMPERATURE, Q.OXYGEN)}
Water = Callable[[float], tuple[float, float]]
DAY_H = 24.0


def usual(hour: float) -> tuple[float, float]:
    """A day as any other: a thermostat's turns, and somewhat less oxygen at night."""
    return 26.0 + 0.12 * np.sin(hour * 7.0), 7.2 + 0.25 * np.cos(hour * np.pi / 12.0)


class Night:
    """A day as usual, then ``hours`` of the water given; a reading every ``every_s``, rounded to 0.01."""

    def __init__(self, water: Water, hours: float, every_s: float = 60.0, seed: int = 1) -> None:
        self.watch, chance = TankWatch(), np.random.default_rng(seed)
        self.urgent: dict[tuple[Quantity, Side], float] = {}
        self.raised: dict[tuple[Quantity, Side], float] = {}
        self.lying: tuple[float, CauseName] | None = None
        for look in range(round((DAY_H + hours) * 3600 / every_s)):
            hour = look * every_s / 3600.0
            values = usual(hour) if hour < DAY_H else water(hour - DAY_H)
            free = 0.0 if hour >= DAY_H and getattr(water, "stuck", False) else 1.0
            for quantity, value in zip((Q.TEMPERATURE, Q.OXYGEN), values, strict=True):
                said = round(value + 0.015 * free * chance.standard_normal(), 2)
                self.take(quantity, round(hour * HOUR_MS), said, every_s, hour - DAY_H)

    def take(self, quantity: Quantity, time_ms: int, said: float, every_s: float, since_h: float) -> None:
        """One reading, and what follows from it."""
        if not self.watch.take("p", quantity, time_ms, said, CARE[quantity], every_s):
            return
        found = self.watch.health("p", time_ms)
        if found is not None and self.lying is None:
            self.lying = (since_h, found[1].name)
        for side in (Side.LOW, Side.HIGH):
            heading = self.watch.heading("p", quantity, side)
            if heading is not None and heading.level is not None:
                self.raised.setdefault((quantity, side), since_h)
                if heading.level is Priority.URGENT:
                    self.urgent.setdefault((quantity, side), since_h)


def starved(hour: float) -> tuple[float, float]:
    """The air stops: demand 1.6 mg/L/h, exchange 0.08 per hour left, from 7.45 mg/L."""
    rest = 8.1 - 1.6 / 0.08
    return usual(hour)[0], rest + (7.45 - rest) * exp(-0.08 * hour)


def heated(hour: float) -> tuple[float, float]:
    """A heater sticks: 1.9 K an hour at first, 15 K in the end (46 L, 100 W, open; facts of the trade, from memory)."""
    return 26.1 + 15.0 * (1 - exp(-hour / 8.2)), usual(hour)[1]


def test_lost_air_is_urgent_long_before_the_limits() -> None:
    """5 mg/L comes after 96 minutes and 3 mg/L after three hours: told within 50 minutes, urgent within an hour."""
    night = Night(starved, 1.5)
    assert night.raised[Q.OXYGEN, Side.LOW] < 50 / 60
    assert night.urgent[Q.OXYGEN, Side.LOW] < 1.0
    cause = night.watch.why("p", Q.OXYGEN, Side.LOW, 10**9)[0]
    assert cause.name is CauseName.LOST_AIR
    assert cause.evidence
    ahead = night.watch.outlook("p", Q.OXYGEN, CARE[Q.OXYGEN])
    assert ahead.danger is not None
    assert ahead.danger.low_s < ahead.danger.left_s < (ahead.danger.high_s or 1e9)


def test_a_probe_that_speaks_every_ten_minutes_is_not_too_late() -> None:
    """Two looks ten minutes apart are enough: urgent two hours before the danger limit, within the hour."""
    night = Night(starved, 1.5, every_s=600.0)
    assert night.urgent[Q.OXYGEN, Side.LOW] < 65 / 60


def test_a_stuck_heater_is_told_hours_before_the_limit() -> None:
    """31 Cel comes after three hours and a quarter."""
    night = Night(heated, 2.0)
    assert night.raised[Q.TEMPERATURE, Side.HIGH] < 1.0
    assert night.watch.why("p", Q.TEMPERATURE, Side.HIGH, 10**9)[0].name is CauseName.HEATER_STUCK_ON


def poured(hour: float) -> tuple[float, float]:
    """A third of the water changed for 18 Cel within 20 minutes, then the heater brings it back at 1.5 K an hour."""
    mixed = 8.0 * 0.33 * min(hour * 3.0, 1.0) - 1.5 * max(0.0, hour - 1 / 3)
    return 26.0 - max(0.0, mixed), 7.3


def lifted_for(minutes: float) -> Water:
    """The probe hangs in air of 22 Cel for so long, lagging half a minute."""

    def water(hour: float) -> tuple[float, float]:
        out = exp(-hour * 120) if hour < minutes / 60 else 1 - exp(-(hour - minutes / 60) * 120)
        warm, oxygen = usual(hour)
        return 22.0 + (warm - 22.0) * out, saturation_mg_l(22.0) + (oxygen - saturation_mg_l(22.0)) * out

    return water


def fed(hour: float) -> tuple[float, float]:
    """A big meal: the deficit grows by 72 % over eleven hours (lobsters, Crear & Forteath 2000) and goes again."""
    share = hour / 11.0
    return usual(hour)[0], 8.1 - (8.1 - 7.2) * (1 + 0.72 * share * exp(1 - share))


@pytest.mark.parametrize("water", [usual, poured, lifted_for(12.0), fed])
@pytest.mark.parametrize("every_s", [20.0, 60.0, 600.0])
def test_what_keepers_do_wakes_nobody(water: Water, every_s: float) -> None:
    """Neither urgent nor a lying probe; whatever the pace of readings."""
    night = Night(water, 6.0, every_s)
    assert night.urgent == {}
    assert night.lying is None


@pytest.mark.parametrize("every_s", [20.0, 60.0, 300.0, 600.0])
def test_a_forgotten_probe_is_told_within_half_an_hour(every_s: float) -> None:
    """It hangs in air and stays there: not urgent, but told, and why."""
    night = Night(lifted_for(1e6), 1.0, every_s)
    assert night.lying is not None
    assert night.lying[1] is CauseName.PROBE_IN_AIR
    assert 0 < night.lying[0] <= 0.5 + every_s / 3600
    assert night.urgent == {}


class Stuck:
    """The probe stands still on what it said last."""

    stuck = True

    def __call__(self, hour: float) -> tuple[float, float]:
        """Always the same."""
        return 26.04, 7.31


@pytest.mark.parametrize("every_s", [20.0, 60.0, 300.0])
def test_a_stuck_probe_is_told_within_half_an_hour(every_s: float) -> None:
    """Two values that stand still together are no chance after a few readings."""
    night = Night(Stuck(), 1.0, every_s)
    assert night.lying is not None
    assert night.lying[1] is CauseName.PROBE_STUCK
    assert night.lying[0] <= 0.5 + 2 * every_s / 3600


def test_a_jumping_probe_is_told_and_raises_nothing() -> None:
    """One reading in twelve is 3 mg/L off, each alone: a plug, not the water."""

    def water(hour: float) -> tuple[float, float]:
        warm, oxygen = usual(hour)
        return warm, oxygen - (3.0 if round(hour * 60) % 12 == 5 else 0.0)

    night = Night(water, 2.0)
    assert night.raised == {}
    assert night.lying is not None
    assert night.lying[1] is CauseName.PROBE_UNSTEADY
    assert night.lying[0] <= 0.75


def test_a_gap_ends_what_was_expected() -> None:
    """After four hours of silence nothing is claimed of the slope."""
    night = Night(starved, 1.0)
    night.watch.take("p", Q.OXYGEN, round((DAY_H + 5.0) * HOUR_MS), 4.0, CARE[Q.OXYGEN], 60.0)
    assert night.watch.outlook("p", Q.OXYGEN, CARE[Q.OXYGEN]).trend_per_hour is None


def look(minute: int, heat: int = 0, oxygen: int = 0, starves: bool = False, urgent: bool = False) -> Departure:
    """A tank's look at a minute."""
    return Departure(minute * MINUTE_MS, heat, oxygen, starves, urgent)


def test_the_room_is_told_when_half_its_tanks_go_the_same_way() -> None:
    """Three of six at least, for a quarter of an hour; two are their own affair; over when nearly all are back."""
    room = RoomWatch()
    for tank in range(6):
        room.take(f"t{tank}", look(0))
    room.take("t0", look(1, heat=-1))
    room.take("t1", look(1, heat=-1))
    assert room.findings(MINUTE_MS) == {}
    room.take("t2", look(2, heat=-1))
    assert room.findings(10 * MINUTE_MS) == {}
    for tank in range(6):
        room.take(f"t{tank}", look(18, heat=-1 if tank < 3 else 0))
    found = room.findings(18 * MINUTE_MS)[AlertKind.COLD]
    assert found is not None
    assert (found.cause.name, len(found.tanks), found.heard) == (CauseName.ROOM_COOLING, 3, 6)
    assert room.others("t0", 18 * MINUTE_MS) == (5, 2, 0, 0)
    for tank in range(3):
        room.take(f"t{tank}", look(30))
    assert room.findings(30 * MINUTE_MS) == {AlertKind.COLD: None}


def test_an_evening_is_no_power_cut() -> None:
    """All tanks lose some oxygen when the lights go off; only where one will want for it the room is told."""
    room = RoomWatch()
    for tank in range(6):
        room.take(f"t{tank}", look(0, oxygen=-1))
    assert room.findings(0) == {}
    room.take("t5", look(1, oxygen=-1, starves=True, urgent=True))
    found = room.findings(MINUTE_MS)[AlertKind.LOW_OXYGEN]
    assert found is not None
    assert found.urgent
    assert found.cause.name is CauseName.POWER_CUT
