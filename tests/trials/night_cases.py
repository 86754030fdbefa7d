"""What happens in each tank of an invented room in a night: nothing much, or one fault, drawn from a seed.

Rooms of four tanks: one may have a fault of its own, or all share one; the rest have the nights that tanks usually
have. Must not do: know how anything is judged.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from collector.simulated.faults import Fault, FaultKind
from collector.simulated.tanks import TankSpec

MINUTE_MS, HOUR_MS = 60_000, 3_600_000
TANKS = 4
BEFORE_H, NIGHT_H = 16, 14
"""A tank is watched from 04:00 on; its night is from 20:00 to 10:00. [h]"""
BENIGN = ("nothing", "feeding", "water change", "probe lifted for cleaning", "cold top-up", "door left open", "noise",
          "spikes", "late and doubled packs")  # fmt: skip
OWN = ("air stops", "air weakens", "filter stops", "heater on", "heater dead", "demand rises", "probe quiet",
       "probe stuck", "probe drifting", "probe lifted and forgotten")  # fmt: skip
SHARED = ("room cooling", "room heating", "power cut")
EVERY_S = (10, 30, 60, 60, 120, 300, 600)
SWAPPED = "probes swapped"
"""Two tanks' probes are put back into each other's water, in one of 33 rooms of what would be benign nights."""
LYING = ("probe quiet", "probe stuck", "probe drifting", "probe lifted and forgotten", SWAPPED)
OXYGEN_FAULTS = ("air stops", "air weakens", "filter stops", "demand rises")


@dataclass(frozen=True, slots=True)
class Case:
    """One tank's night. ``noise`` and ``steps`` are of temperature [K] and oxygen [mg/L]; times in ms."""

    seed: int
    place: int
    kind: str
    spec: TankSpec
    every_s: int
    noise: tuple[float, float]
    steps: tuple[float, float]
    start_ms: int
    end_ms: int
    strength: float = 0.0

    @property
    def name(self) -> str:
        """The tank's name in its batch."""
        return f"R{self.seed}T{self.place}"


@dataclass
class Room:
    """Four tanks and what is scheduled for them."""

    seed: int
    cases: list[Case] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)


def room_of(seed: int, noon_ms: int) -> Room:
    """The room of a seed. ``noon_ms``: noon before its night."""
    rng = np.random.default_rng([20261125, seed])
    room = Room(seed)
    draw = rng.random()
    shared = SHARED[int(rng.integers(len(SHARED)))] if draw < 0.12 else ""
    own = OWN[int(rng.integers(len(OWN)))] if 0.12 <= draw < 0.88 else ""
    start_ms = noon_ms + round((8.0 + rng.uniform(0.0, 5.0)) * HOUR_MS)
    until_ms = noon_ms + (8 + NIGHT_H) * HOUR_MS
    shared_end = start_ms + 2 * HOUR_MS if shared == "power cut" else until_ms
    strength = float(rng.uniform(5.0, 12.0)) * (-1.0 if shared == "room heating" else 1.0)
    for place in range(TANKS):
        kind = shared or (own if own and place == 0 else BENIGN[int(rng.integers(len(BENIGN)))])
        kind = SWAPPED if draw >= 0.97 and place < 2 else kind
        case = _case(room, seed, place, kind, noon_ms, rng)
        if shared:
            case = _timed(case, start_ms, shared_end, strength)
        elif kind == SWAPPED:
            case = _timed(case, start_ms, until_ms, 0.0)
        room.cases.append(case)
        room.faults += _faults(case, until_ms, rng)
    return room


def _timed(case: Case, start_ms: int, end_ms: int, strength: float) -> Case:
    return Case(
        case.seed, case.place, case.kind, case.spec, case.every_s, case.noise, case.steps, start_ms, end_ms, strength
    )


def _case(room: Room, seed: int, place: int, kind: str, noon_ms: int, rng: np.random.Generator) -> Case:
    start_ms = noon_ms + round((8.0 + rng.uniform(0.0, 5.0)) * HOUR_MS)
    end_ms = noon_ms + (8 + NIGHT_H) * HOUR_MS
    if kind not in (*OWN, "late and doubled packs", "spikes", "noise"):
        length = {
            "water change": rng.uniform(10.0, 30.0), "cold top-up": rng.uniform(3.0, 8.0),
            "probe lifted for cleaning": rng.uniform(3.0, 20.0), "door left open": rng.uniform(10.0, 90.0),
        }.get(kind, 60.0)  # fmt: skip
        end_ms = start_ms + round(length * MINUTE_MS)
    noise = tuple(float(rng.choice([0.01, 0.015, 0.03, 0.06])) * (2.0 if kind == "noise" else 1.0) for _ in range(2))
    steps = (float(rng.choice([0.0, 0.01, 0.0625, 0.1])), float(rng.choice([0.0, 0.01, 0.01, 0.1])))
    spec = _spec(kind, rng, (start_ms - noon_ms) / HOUR_MS)
    return Case(
        seed, place, kind, spec, int(rng.choice(EVERY_S)), (noise[0], noise[1]), steps, start_ms, end_ms,
        float(rng.random()),
    )  # fmt: skip


def _spec(kind: str, rng: np.random.Generator, hours: float) -> TankSpec:
    """15 to 300 L, stocked from sparse to crowded; where the air is lost, mostly so that it matters."""
    volume_l = float(np.exp(rng.uniform(np.log(15.0), np.log(300.0))))
    load_g_l = (
        rng.uniform(3.0, 22.0) if kind in ("air stops", "air weakens", "filter stops") else rng.uniform(0.5, 12.0)
    )
    animal_g = rng.uniform(10.0, 45.0)
    return TankSpec(
        volume_l=volume_l,
        depth_m=min(0.6, max(0.15, 0.075 * volume_l ** (1 / 3))) * rng.uniform(0.9, 1.1),
        animals=max(1, round(load_g_l * volume_l / animal_g)),
        animal_g=animal_g,
        heater_w=rng.uniform(0.9, 3.0) * volume_l + 10.0,
        heater_set_c=rng.uniform(24.5, 27.5),
        hysteresis_k=rng.uniform(0.2, 0.6),
        air_l_min=rng.uniform(0.03, 0.12) * volume_l + 0.5,
        transfer_per_m=rng.uniform(0.03, 0.05),
        lid=bool(rng.random() < 0.7),
        lamp_w=0.1 * volume_l,
        pump_w=0.05 * volume_l,
        water_mg_l_h=rng.uniform(0.03, 0.25),
        meal_h=(12.0 + hours) % 24.0 if kind == "feeding" else rng.uniform(8.0, 20.0),
        meal_every_d=int(rng.integers(1, 3)),
        meal_first_d=0 if kind == "feeding" else int(rng.integers(0, 2)),
    )


def _faults(case: Case, until_ms: int, rng: np.random.Generator) -> list[Fault]:
    """The schedule of a case for the simulated room."""

    def one(kind: FaultKind, strength: float = 1.0, start: int = case.start_ms, end: int = case.end_ms) -> Fault:
        return Fault(kind, case.name, start, end, strength)

    match case.kind:
        case "water change":
            return [one(FaultKind.WATER_CHANGE, rng.uniform(0.1, 0.4))]
        case "cold top-up":
            return [one(FaultKind.WATER_CHANGE, rng.uniform(0.05, 0.12))]
        case "probe lifted for cleaning" | "probe lifted and forgotten":
            return [one(FaultKind.PROBE_LIFTED)]
        case "door left open":
            return [one(FaultKind.ROOM_HEATING_LOST, rng.uniform(2.0, 8.0))]
        case "air stops":
            return [one(FaultKind.AIR_LOST)]
        case "filter stops":
            return [one(FaultKind.FILTER_STOPPED, rng.uniform(0.5, 0.95))]
        case "air weakens":
            return _ramp(case, FaultKind.AIR_LOST, rng.uniform(0.8, 1.0), rng.uniform(2.0, 7.0), until_ms)
        case "demand rises":
            return _ramp(case, FaultKind.DEMAND_RISES, rng.uniform(2.0, 14.0), rng.uniform(0.05, 6.0), until_ms)
        case "heater on":
            return [one(FaultKind.HEATER_STUCK_ON)]
        case "heater dead":
            return [one(FaultKind.HEATER_DEAD)]
        case "probe quiet":
            return [one(FaultKind.PROBE_QUIET)]
        case "probe stuck":
            return [one(FaultKind.PROBE_STUCK)]
        case "probe drifting":
            return [one(FaultKind.PROBE_DRIFT, rng.uniform(0.15, 1.0))]
        case "room cooling" | "room heating":
            return [one(FaultKind.ROOM_HEATING_LOST, case.strength)]
        case "power cut":
            return [one(FaultKind.POWER_CUT, abs(case.strength))]
    return []


def _ramp(case: Case, kind: FaultKind, most: float, hours: float, until_ms: int) -> list[Fault]:
    """Something that grows in forty steps, then stays."""
    edges = [case.start_ms + round(hours * HOUR_MS * step / 40) for step in range(40)]
    return [
        Fault(kind, case.name, start, end, most * (step + 1) / 40)
        for step, (start, end) in enumerate(zip(edges, [*edges[1:], until_ms], strict=True))
    ]
