"""The simulated room: its physics beside printed tables and closed forms, its past, its faults, its ports."""

from __future__ import annotations

import csv
import os
import signal
import subprocess
import sys
import time
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest
import serial

from collector.simulated import oxygen
from collector.simulated.physics import approach

ROOT = Path(__file__).parents[2]
TEMPLATE = ROOT / "collector" / "simulated" / "room.toml"
# Benson & Krause as adopted by USGS (Technical Memorandum 2011.03), fresh water: t [Cel], 760 mmHg and 640 mmHg [mg/L]
PRINTED = [
    (0.0, 14.621, 12.300),
    (10.0, 11.288, 9.485),
    (20.0, 9.092, 7.624),
    (25.0, 8.263, 6.917),
    (30.0, 7.559, 6.314),
]


@pytest.mark.parametrize(("temperature_c", "at_760", "at_640"), PRINTED)
def test_saturation_as_printed(temperature_c: float, at_760: float, at_640: float) -> None:
    """To the last printed digit."""
    warm = np.array([temperature_c])
    assert round(float(oxygen.saturation_mg_l(warm, 101.325)[0]), 3) == at_760
    assert round(float(oxygen.saturation_mg_l(warm, 101.325 * 640 / 760)[0]), 3) == at_640


def test_a_step_is_the_closed_form_and_ends_at_the_steady_state() -> None:
    """dC/dt = gain - rate C: C(t) = gain/rate + (C0 - gain/rate) exp(-rate t); the steady state is C* - R/kLa."""
    exchange_per_h, full_mg_l, demand_mg_l_h = 1.2, 8.2, 1.5
    gain, rate = np.array([exchange_per_h * full_mg_l - demand_mg_l_h]), np.array([exchange_per_h])
    after = float(approach(np.array([2.0]), gain, rate, 0.5)[0])
    steady = full_mg_l - demand_mg_l_h / exchange_per_h
    assert after == pytest.approx(steady + (2.0 - steady) * np.exp(-0.6), rel=1e-9)
    assert float(approach(np.array([2.0]), gain, rate, 100.0)[0]) == pytest.approx(steady, rel=1e-9)


def simulate(folder: Path, *options: str) -> subprocess.CompletedProcess[str]:
    """Run the simulated room's command to its end."""
    command = [sys.executable, "-m", "collector.simulated", "--room", str(TEMPLATE), "--data", str(folder), *options]
    return subprocess.run(command, capture_output=True, text=True, cwd=ROOT, timeout=60, check=False)


@pytest.fixture(scope="module")
def past(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A data folder with seven invented days."""
    folder = tmp_path_factory.mktemp("simulated")
    done = simulate(folder, "--history")
    assert done.returncode == 0, done.stderr
    return folder


def rows_of(folder: Path) -> dict[tuple[str, str], list[tuple[float, float]]]:
    """(time [s], value) per (probe, quantity)."""
    out: dict[tuple[str, str], list[tuple[float, float]]] = {}
    with (folder / "simulated" / "history.csv").open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            time_s = datetime.fromisoformat(row["time"]).timestamp()
            out.setdefault((row["probe"], row["quantity"]), []).append((time_s, float(row["value"])))
    return out


def test_the_past_is_calm_and_two_tanks_are_in_trouble_now(past: Path) -> None:
    """Up to two hours ago the tanks lie in 23.9 to 29.4 C and above 6 mg/L; then one airstone and one heater fail."""
    rows = rows_of(past)
    ends_s = max(series[-1][0] for series in rows.values())
    assert len(rows) == 24
    assert sum(map(len, rows.values())) > 240_000
    in_trouble = set()
    for (probe, quantity), series in rows.items():
        days = [value for time_s, value in series if time_s < ends_s - 7200]
        if quantity == "temperature":
            fahrenheit = np.median(days) > 60
            celsius = (np.array(days) - 32) / 1.8 if fahrenheit else np.array(days)
            assert np.mean((celsius > 23.889) & (celsius < 29.444)) > 0.99, probe
            last_c = (series[-1][1] - 32) / 1.8 if fahrenheit else series[-1][1]
            if last_c > 30.0:
                in_trouble.add(probe)
        elif quantity == "oxygen":
            assert np.mean(np.array(days) > 6.0) > 0.97, probe
            if series[-1][1] < 5.6:
                in_trouble.add(probe)
    assert len(in_trouble) == 2


def test_the_past_is_made_once(past: Path) -> None:
    """A second call changes nothing."""
    before = (past / "simulated" / "history.csv").stat().st_mtime_ns
    assert simulate(past, "--history").returncode == 0
    assert (past / "simulated" / "history.csv").stat().st_mtime_ns == before


def test_probes_speak_over_real_ports_and_stop_at_once(past: Path) -> None:
    """The ports exist when it says so; a streaming probe's line comes through pyserial; SIGTERM ends it in 2 s."""
    command = [sys.executable, "-m", "collector.simulated", "--room", str(TEMPLATE), "--data", str(past)]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=ROOT)
    try:
        assert process.stdout is not None
        assert process.stdout.readline().strip() == "ports ready"
        ports = sorted((past / "simulated" / "ports").iterdir())
        assert len(ports) == 12
        heard: dict[str, bytes] = {}
        lines = {port.name: serial.Serial(str(port), timeout=0) for port in ports}
        end_s = time.monotonic() + 14
        while time.monotonic() < end_s and len(heard) < 3:
            for name, line in lines.items():
                if text := line.read(200):
                    heard[name] = text
            time.sleep(0.1)
        for line in lines.values():
            line.close()
        assert len(heard) >= 3
        assert all(any(48 <= byte <= 57 for byte in text) for text in heard.values())
    finally:
        asked_s = time.monotonic()
        os.kill(process.pid, signal.SIGTERM)
        code = process.wait(10)
        if process.stdout is not None:
            process.stdout.close()
    assert (code, time.monotonic() - asked_s < 2) == (0, True)
