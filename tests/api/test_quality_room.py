"""The usual limits in the simulated room: real events of the water stay good, faults of the probe are found.

The room is physics of its own (``collector/simulated``) that knows nothing of these checks.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np
import pytest

from api.domain.quantity import Quantity
from api.domain.reading import Flag
from api.judge.check_batch import Checked, check
from api.judge.check_defaults import defaults
from api.science.arrays import Floats, Ints
from collector.simulated.faults import Fault, FaultKind
from collector.simulated.physics import Scene, arrive, march
from collector.simulated.probe_signal import signal
from collector.simulated.room_air import DAY_MS, HOUR_MS, RoomAir
from collector.simulated.scenario import SPECS
from collector.simulated.state import at_rest
from collector.simulated.tanks import Tanks

MINUTE_MS = 60_000
NOON_MS = 1_699_963_200_000
NAMES = tuple(SPECS)
STUCK_MS, LIFTED_MS = 12 * HOUR_MS, 18 * HOUR_MS


@dataclass(frozen=True)
class Probe:
    """A kind of probe: what it measures, and the steps it says it in."""

    quantity: Quantity
    said: Callable[[Floats], Floats]


def steps(size: float) -> Callable[[Floats], Floats]:
    """Rounding to a step."""
    return lambda value: np.round(value / size) * size


PROBES = {
    "0.01 C": Probe(Quantity.TEMPERATURE, lambda value: np.round(value, 2)),
    "0.1 F": Probe(Quantity.TEMPERATURE, lambda value: (np.round(value * 1.8 + 32, 1) - 32) / 1.8),
    "0.0625 C": Probe(Quantity.TEMPERATURE, steps(0.0625)),
    "0.01 mg/L": Probe(Quantity.OXYGEN, lambda value: np.round(value, 2)),
    "0.1 mg/L": Probe(Quantity.OXYGEN, lambda value: np.round(value, 1)),
    "0.1 %": Probe(Quantity.OXYGEN_SATURATION, lambda value: np.round(value, 1)),
    "1 %": Probe(Quantity.OXYGEN_SATURATION, lambda value: np.round(value)),
}
FINE = ("0.01 C", "0.01 mg/L", "0.1 %")


def events() -> list[Fault]:
    """A day of a rough room: quick and slow water changes, air lost and back, a heater stuck on, the room's heating."""
    found = [Fault(FaultKind.ROOM_HEATING_LOST, None, 20 * HOUR_MS, 24 * HOUR_MS, 6.0)]
    for place, name in enumerate(NAMES):
        change_ms = (8 + place % 6) * HOUR_MS
        lasts_ms = (2 + 3 * (place % 4)) * MINUTE_MS
        found.append(Fault(FaultKind.WATER_CHANGE, name, change_ms, change_ms + lasts_ms, 0.1 + 0.1 * (place % 3)))
        found.append(Fault(FaultKind.AIR_LOST, name, place * HOUR_MS, (place + 2) * HOUR_MS))
        found.append(Fault(FaultKind.HEATER_STUCK_ON, name, (13 + place % 6) * HOUR_MS, (14 + place % 6) * HOUR_MS))
    return found


def probe_faults() -> list[Fault]:
    """Every probe stuck for two hours, then lifted for one, out of water that has lost its air for four hours."""
    found = []
    for name in NAMES:
        found.append(Fault(FaultKind.PROBE_STUCK, name, STUCK_MS, STUCK_MS + 2 * HOUR_MS))
        found.append(Fault(FaultKind.AIR_LOST, name, LIFTED_MS - 4 * HOUR_MS, LIFTED_MS + HOUR_MS))
        found.append(Fault(FaultKind.PROBE_LIFTED, name, LIFTED_MS, LIFTED_MS + HOUR_MS))
    return found


@cache
def room(faulty: bool) -> tuple[Ints, dict[Quantity, Floats]]:
    """A day of the demo's tanks, every ten seconds: times and what probes without steps would say."""
    tanks = Tanks(list(SPECS.values()))
    scene = Scene(tanks, NAMES, RoomAir(), tuple(probe_faults() if faulty else events()))
    state = arrive(scene, at_rest(tanks, -DAY_MS), 0, MINUTE_MS)
    seen, times_ms = [], []
    for record, _ in march(scene, state, DAY_MS):
        values = record.values
        seen.append(signal(tanks, 3, record.times_ms, values["probe_c"], values["probe_mg_l"], record.faults))
        times_ms.append(record.times_ms)
    temperature_c = np.concatenate([one.temperature_c for one in seen])
    oxygen_mg_l = np.concatenate([one.oxygen_mg_l for one in seen])
    return np.concatenate(times_ms), {
        Quantity.TEMPERATURE: temperature_c,
        Quantity.OXYGEN: oxygen_mg_l,
        Quantity.OXYGEN_SATURATION: 100 * oxygen_mg_l / tanks.saturation_mg_l(temperature_c),
    }


def checked(kind: str, every_s: int, *, faulty: bool) -> tuple[Ints, list[Checked]]:
    """Every tank's probe of a kind, by its usual limits; times since the day began."""
    probe, nth = PROBES[kind], every_s // 10
    times_ms, values = room(faulty)
    times_ms, said = times_ms[::nth], probe.said(values[probe.quantity][::nth])
    limits = [defaults(probe.quantity, every_s, SPECS[name].volume_l) for name in NAMES]
    return times_ms, [check(NOON_MS + times_ms, said[:, i], limits[i], probe.quantity) for i in range(len(NAMES))]


@pytest.mark.parametrize("every_s", [10, 60])
@pytest.mark.parametrize("kind", list(PROBES))
def test_real_water_stays_good(kind: str, every_s: int) -> None:
    """Less than one reading in a thousand is suspect; of a fine probe all but a handful are good outright."""
    _, series = checked(kind, every_s, faulty=False)
    flags = np.concatenate([one.flags for one in series])
    assert np.mean(flags >= Flag.SUSPECT) < 0.001, [one.reason(int(np.argmax(one.flags))) for one in series]
    if kind in FINE:
        assert np.mean(flags == Flag.GOOD) > 0.995


@pytest.mark.parametrize("every_s", [10, 30, 60])
@pytest.mark.parametrize("kind", FINE)
def test_a_stuck_probe_is_found_within_half_an_hour(kind: str, every_s: int) -> None:
    """In every tank; and has failed within an hour."""
    times_ms, series = checked(kind, every_s, faulty=True)
    stuck = (times_ms >= STUCK_MS) & (times_ms < STUCK_MS + 2 * HOUR_MS)
    for one in series:
        found_ms = [times_ms[stuck & (one.flags >= flag)][0] - STUCK_MS for flag in (Flag.SUSPECT, Flag.FAIL)]
        assert found_ms[0] <= 30 * MINUTE_MS
        assert found_ms[1] <= 60 * MINUTE_MS


def test_a_probe_lifted_out_of_starved_water_is_found() -> None:
    """Air says all is well: the jump to it is suspect where it is more than water can do (2 mg/L in a minute)."""
    times_ms, series = checked("0.01 mg/L", 60, faulty=True)
    values = room(True)[1][Quantity.OXYGEN][::6]
    lifted = (times_ms >= LIFTED_MS) & (times_ms < LIFTED_MS + 10 * MINUTE_MS)
    before, after = (int(np.searchsorted(times_ms, LIFTED_MS + minutes * MINUTE_MS)) for minutes in (-1, 10))
    jumped = values[after] - values[before] > 2.0
    found = np.array([bool((one.flags[lifted] >= Flag.SUSPECT).any()) for one in series])
    assert jumped.sum() >= 3
    assert found[jumped].all()


def test_a_lifted_thermometer_is_found_by_its_company() -> None:
    """Another one in the same water stays where it was; at one reading a minute a jump alone may be a water change."""
    times_ms, values = room(True)
    times_ms, faulty = times_ms[::6], np.round(values[Quantity.TEMPERATURE][::6], 2)
    lifted = (times_ms >= LIFTED_MS) & (times_ms < LIFTED_MS + 10 * MINUTE_MS)
    for place, name in enumerate(NAMES):
        limits = defaults(Quantity.TEMPERATURE, 60.0, SPECS[name].volume_l, company=Quantity.TEMPERATURE)
        beside = np.full(len(times_ms), faulty[np.argmax(lifted) - 1, place])
        one = check(
            NOON_MS + times_ms,
            faulty[:, place],
            limits,
            Quantity.TEMPERATURE,
            company_times_ms=NOON_MS + times_ms,
            company_values=beside,
        )
        alone = lifted & (one.tests["company"] == Flag.SUSPECT)
        assert alone.any()
        assert "while the probe beside it stayed" in one.reason(int(np.argmax(alone)))


@pytest.mark.parametrize(("kind", "height"), [("0.01 C", 1.5), ("0.0625 C", 1.5), ("0.01 mg/L", 1.5), ("0.1 %", 18.0)])
@pytest.mark.parametrize("every_s", [10, 60])
def test_odd_single_readings_are_found(kind: str, height: float, every_s: int) -> None:
    """One reading in a hundred off by so much, up or down; each is suspect, and none but its neighbours besides."""
    probe, nth = PROBES[kind], every_s // 10
    times_ms, values = room(False)
    times_ms, said = times_ms[::nth], probe.said(values[probe.quantity][::nth])
    odd = np.arange(50, len(times_ms) - 50, 100)
    signs = np.where(np.arange(len(odd)) % 2, 1.0, -1.0)
    for place, name in enumerate(NAMES):
        series = said[:, place].copy()
        series[odd] += signs * height
        limits = defaults(probe.quantity, every_s, SPECS[name].volume_l)
        flags = check(NOON_MS + times_ms, series, limits, probe.quantity).flags
        assert (flags[odd] >= Flag.SUSPECT).all()
        others = np.setdiff1d(np.flatnonzero(flags >= Flag.SUSPECT), np.concatenate([odd - 1, odd, odd + 1]))
        assert len(others) == 0
