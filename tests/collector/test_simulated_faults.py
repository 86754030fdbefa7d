"""Each kind of fault does what its name says to the water or to the reading; must not start a process."""

from __future__ import annotations

import numpy as np
import pytest

from collector.simulated.faults import Fault, FaultKind
from collector.simulated.physics import Record, Scene, march
from collector.simulated.probe_signal import Signal, signal
from collector.simulated.room_air import DAY_MS, HOUR_MS, RoomAir
from collector.simulated.state import at_rest
from collector.simulated.tanks import Tanks, TankSpec

NAMES = ("hurt", "well")
CLOSE = TankSpec(40, 0.25, 14, 40, 50, 26.5, air_l_min=9)
START, END = 6 * HOUR_MS, 12 * HOUR_MS


def lived(*faults: Fault, hours: int = 18) -> tuple[Record, Signal]:
    """Two like tanks with these faults, and what their probes read, every ten seconds."""
    scene = Scene(Tanks([CLOSE, CLOSE]), NAMES, RoomAir(), faults)
    ((record, _),) = march(scene, at_rest(scene.tanks, 0), hours * HOUR_MS)
    values = record.values
    return record, signal(scene.tanks, 3, record.times_ms, values["probe_c"], values["probe_mg_l"], record.faults)


def during(record: Record) -> np.ndarray:
    """The rows of the fault."""
    rows: np.ndarray = (record.times_ms >= START) & (record.times_ms < END)
    return rows


def test_no_fault_leaves_like_tanks_alike() -> None:
    """The control: without a fault the two tanks are one."""
    record, _ = lived()
    assert np.ptp(record.values["oxygen_mg_l"], axis=1).max() == 0.0


def test_lost_air_takes_oxygen_and_gives_it_back() -> None:
    """Oxygen falls while the air is off, comes back after, and the tank beside it does not notice."""
    oxygen = lived(Fault(FaultKind.AIR_LOST, "hurt", START, END))[0].values["oxygen_mg_l"]
    assert oxygen[:, 0].min() < 3.0
    assert oxygen[-1, 0] > 7.0
    assert oxygen[:, 1].min() > 7.0


def test_weak_air_takes_less_than_no_air() -> None:
    """Strength is the share of air lost."""
    lowest = [
        float(lived(Fault(FaultKind.AIR_LOST, "hurt", START, END, share))[0].values["oxygen_mg_l"][:, 0].min())
        for share in (0.5, 0.8, 1.0)
    ]
    assert lowest == sorted(lowest, reverse=True)
    assert lowest[0] > 6.0


def test_stuck_heater_warms_and_dead_heater_cools() -> None:
    """Both are seen against the like tank beside it."""
    hot = lived(Fault(FaultKind.HEATER_STUCK_ON, "hurt", START, END))[0].values["temperature_c"]
    cold = lived(Fault(FaultKind.HEATER_DEAD, "hurt", START, END))[0].values["temperature_c"]
    assert (hot[:, 0] - hot[:, 1]).max() > 3.0
    assert (cold[:, 1] - cold[:, 0]).max() > 0.3


def test_water_change_mixes_by_its_share() -> None:
    """30 % of water at the room's 23 degC or so cools by 30 % of the difference (mixing), within the heater's help."""
    change = Fault(FaultKind.WATER_CHANGE, "hurt", START, START + 20 * 60_000, 0.3)
    record, _ = lived(change, hours=7)
    row = int(np.searchsorted(record.times_ms, change.end_ms))
    water, room = record.values["temperature_c"][row], record.values["room_c"][row, 0]
    before = record.values["temperature_c"][row - 120, 0]
    assert before - water[0] == pytest.approx(0.3 * (before - room), abs=0.45)
    assert water[0] < water[1] - 0.3


def test_room_heating_and_power_take_the_whole_room() -> None:
    """A fault without a tank is every tank's; only the power cut stops the air."""
    cold, _ = lived(Fault(FaultKind.ROOM_HEATING_LOST, None, START, END, 8.0))
    dark, _ = lived(Fault(FaultKind.POWER_CUT, None, START, END, 8.0))
    assert cold.values["room_c"][during(cold)].min() < 18.0
    assert cold.values["oxygen_mg_l"].min() > 7.0
    assert dark.values["oxygen_mg_l"].min() < 3.0
    assert dark.values["heater_on"][during(dark)][1:].max() == 0.0


def test_quiet_probe_says_nothing_and_its_water_is_well() -> None:
    """Silence is the probe's, not the tank's."""
    record, seen = lived(Fault(FaultKind.PROBE_QUIET, "hurt", START, END))
    rows = during(record)
    assert np.isnan(seen.oxygen_mg_l[rows, 0]).all()
    assert not np.isnan(seen.oxygen_mg_l[~rows]).any()
    assert np.isfinite(seen.temperature_c[:, 1]).all()
    assert np.isfinite(record.values["oxygen_mg_l"]).all()


def test_stuck_probe_reads_one_value_and_moves_again() -> None:
    """Not even noise while it is stuck."""
    record, seen = lived(Fault(FaultKind.PROBE_STUCK, "hurt", START, END))
    rows = during(record)
    assert np.ptp(seen.temperature_c[rows, 0][1:]) == 0.0
    assert np.ptp(seen.oxygen_mg_l[rows, 0][1:]) == 0.0
    assert np.ptp(seen.oxygen_mg_l[rows, 1]) > 0.02
    assert np.ptp(seen.oxygen_mg_l[~rows, 0]) > 0.02


def test_drifting_probe_loses_its_share_a_day() -> None:
    """A fifth a day: after a quarter of a day a twentieth is missing."""
    record, seen = lived(Fault(FaultKind.PROBE_DRIFT, "hurt", START, START + DAY_MS, 0.2), hours=12)
    _, true = lived(hours=12)
    assert record.times_ms[-1] - START == DAY_MS // 4
    assert seen.oxygen_mg_l[-1, 0] / true.oxygen_mg_l[-1, 0] == pytest.approx(0.95, abs=0.002)


def test_lifted_probe_reads_the_room() -> None:
    """In the air it shows the room's warmth and oxygen near saturation there."""
    record, seen = lived(Fault(FaultKind.PROBE_LIFTED, "hurt", START, END))
    row = int(np.searchsorted(record.times_ms, END)) - 2
    assert seen.temperature_c[row, 0] == pytest.approx(record.values["room_c"][row, 0], abs=0.3)
    assert seen.oxygen_mg_l[row, 0] > seen.oxygen_mg_l[row, 1] + 0.3


def test_probe_lags_behind_the_water() -> None:
    """While oxygen falls the tip reads the water of about its lag ago (first order: slope x 35 s)."""
    record, _ = lived(Fault(FaultKind.AIR_LOST, "hurt", START, END))
    row = int(np.searchsorted(record.times_ms, START + HOUR_MS))
    water, tip = record.values["oxygen_mg_l"][:, 0], record.values["probe_mg_l"][:, 0]
    slope_s = (water[row + 6] - water[row - 6]) / 120.0
    assert tip[row] - water[row] == pytest.approx(-slope_s * 35.0, rel=0.2)


def test_a_fault_of_an_unknown_tank_is_left_out() -> None:
    """A room file without that tank still runs."""
    record, _ = lived(Fault(FaultKind.AIR_LOST, "elsewhere", START, END), hours=8)
    assert record.values["oxygen_mg_l"].min() > 7.0
