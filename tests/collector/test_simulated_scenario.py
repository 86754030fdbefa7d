"""The demo as a newcomer meets it: its seven days as the file says them, then the first 20 minutes of lines."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from api.domain.roomfile import parse_room
from collector.simulated import live, schedule
from collector.simulated.demo import Demo, demo_of
from collector.simulated.faults import FaultKind
from collector.simulated.history import write_history
from collector.simulated.live import Live
from collector.simulated.room_air import DAY_MS
from collector.simulated.saved import Saved, read

TEMPLATE = Path(live.__file__).with_name("room.toml")
START_MS = 1_774_000_000_000
"""20 March 2026, 09:46:40 UTC."""
ON_DELAY_MIN = 10.0
"""How long an alert waits before it is raised."""
QUIET_MIN = 0.5 + 5.0
"""How long a probe may say nothing before that is an alert: 30 s, and 5 min more."""
Floats = NDArray[np.float64]
Series = dict[tuple[str, str], tuple[Floats, Floats]]


@dataclass(frozen=True)
class Begun:
    """The template's room with its past on disk: (minutes after the start, values) per (tank, quantity)."""

    demo: Demo
    saved: Saved
    count: int
    past: Series


def in_celsius(value: float, unit: str) -> float:
    """A temperature in degC by definition of the Fahrenheit scale; anything else as it is."""
    return (value - 32.0) / 1.8 if unit == "[degF]" else value


@pytest.fixture(scope="module")
def begun(tmp_path_factory: pytest.TempPathFactory) -> Begun:
    """Write the template's whole past and read it back."""
    folder = tmp_path_factory.mktemp("scenario")
    demo = demo_of(parse_room(TEMPLATE.read_text(encoding="utf-8"), str(TEMPLATE)), str(TEMPLATE))
    count = write_history(demo, folder, START_MS)
    saved = read(folder / "state.json", demo.names, demo.scene(START_MS).tanks)
    assert saved is not None
    tanks = {dialect.probe: dialect.tank for dialect in demo.dialects}
    rows: dict[tuple[str, str], list[tuple[float, float]]] = {}
    with (folder / "history.csv").open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            minute = (datetime.fromisoformat(row["time"]).timestamp() * 1000 - START_MS) / 60_000
            value = in_celsius(float(row["value"]), row["unit"])
            rows.setdefault((tanks[row["probe"]], row["quantity"]), []).append((minute, value))
    past = {key: (np.array(pairs)[:, 0], np.array(pairs)[:, 1]) for key, pairs in rows.items()}
    return Begun(demo, saved, count, past)


@pytest.fixture(scope="module")
def told(begun: Begun) -> Series:
    """What each probe says in the first 20 minutes, every 10 s; NaN where it says nothing."""
    running = Live(begun.demo, begun.saved)
    minutes = np.arange(0, 1200, 10) / 60.0
    keys = [(d.tank, str(v.quantity)) for d in begun.demo.dialects for v in d.values]
    series: Series = {key: (minutes, np.full(minutes.shape, np.nan)) for key in keys}
    for row, minute in enumerate(minutes):
        running.move(START_MS + round(minute * 60_000))
        for dialect, texts in zip(begun.demo.dialects, running.texts, strict=True):
            for value, text in zip(dialect.values, texts or [], strict=False):
                series[dialect.tank, value.quantity][1][row] = in_celsius(float(text), value.unit)
    return series


def test_the_template_is_a_room_of_twelve_tanks(begun: Begun) -> None:
    """Each tank has a probe, and every probe is simulated."""
    assert len(begun.demo.names) == len(begun.demo.dialects) == 12
    assert {dialect.tank for dialect in begun.demo.dialects} == set(begun.demo.names)
    assert begun.demo.settings.history_days == 7


def test_the_past_is_seven_whole_days_up_to_the_start(begun: Begun) -> None:
    """Once a minute, all probes, no holes."""
    assert begun.count == 24 * (7 * 1440 + 1)
    for minutes, _ in begun.past.values():
        assert minutes[0] == -7 * 1440
        assert minutes[-1] == 0
        assert np.diff(minutes) == pytest.approx(1.0)


def test_every_tank_was_well_until_three_hours_ago(begun: Begun) -> None:
    """75 to 85 F and above 6 mg/L in all seven days, the two small events of the past among them."""
    for (tank, quantity), (minutes, values) in begun.past.items():
        before = values[minutes < -180]
        if quantity == "temperature":
            assert before.min() > 23.9, tank
            assert before.max() < 29.4, tank
        elif quantity == "oxygen":
            assert before.min() > 6.0, tank


def test_other_tanks_are_well_up_to_the_start(begun: Begun) -> None:
    """Only the two tanks of the opening faults left their range in the last three hours."""
    for (tank, quantity), (_, values) in begun.past.items():
        if tank not in (schedule.STARVED, schedule.HEATED):
            if quantity == "temperature":
                assert values.max() < 29.4, tank
            elif quantity == "oxygen":
                assert values.min() > 6.0, tank


def test_the_two_past_events_can_be_seen(begun: Begun) -> None:
    """A water change cools its tank, an hour without air lowers oxygen, each against the minute before it began."""
    change, night = schedule.past(START_MS)
    assert (change.kind, night.kind) == (FaultKind.WATER_CHANGE, FaultKind.AIR_LOST)
    for fault, quantity, least in ((change, "temperature", 0.3), (night, "oxygen", 0.1)):
        minutes, values = begun.past[str(fault.tank), quantity]
        assert -7 * DAY_MS < fault.start_ms - START_MS < -DAY_MS
        first, last = np.searchsorted(minutes, [(t - START_MS) / 60_000 for t in (fault.start_ms, fault.end_ms)])
        assert values[first - 1] - values[last] > least


def out_to_stay(minutes: Floats, out: NDArray[np.bool_]) -> float:
    """The minute since which every reading is out; the last must be."""
    assert out[-1]
    within = np.flatnonzero(~out)
    return float(minutes[within[-1] + 1]) if len(within) else float(minutes[0])


def test_oxygen_falls_below_5_in_time(told: Series) -> None:
    """Tolerable oxygen ends at 5 mg/L; the alert is due within 15 minutes of the start, and is not there already."""
    minutes, oxygen = told[schedule.STARVED, "oxygen"]
    crossed = out_to_stay(minutes, oxygen < 5.0)
    print(f"oxygen of {schedule.STARVED} below 5 mg/L from {crossed:.1f} min")
    assert 0 < crossed
    assert crossed + ON_DELAY_MIN < 15
    assert minutes[-1] - crossed > ON_DELAY_MIN


def test_temperature_passes_31_in_time(told: Series) -> None:
    """Tolerable warmth ends at 31 degC; the alert is due within 15 minutes of the start, and is not there already."""
    minutes, warm = told[schedule.HEATED, "temperature"]
    crossed = out_to_stay(minutes, warm > 31.0)
    print(f"temperature of {schedule.HEATED} above 31 degC from {crossed:.1f} min")
    assert 0 < crossed
    assert crossed + ON_DELAY_MIN < 15


def test_one_probe_goes_silent_in_time(told: Series) -> None:
    """It spoke before, says nothing to the end, and is the only one."""
    minutes, warm = told[schedule.SILENT, "temperature"]
    silent = out_to_stay(minutes, np.isnan(warm))
    print(f"probe of {schedule.SILENT} silent from {silent:.1f} min")
    assert 0 < silent
    assert silent + QUIET_MIN < 15
    assert minutes[-1] - silent > QUIET_MIN
    assert {tank for (tank, _), (_, values) in told.items() if np.isnan(values).any()} == {schedule.SILENT}


def test_nothing_else_alarms_in_the_first_minutes(told: Series) -> None:
    """All other tanks keep inside 5 mg/L and 31 degC with room to spare."""
    for (tank, quantity), (_, values) in told.items():
        if quantity == "oxygen" and tank != schedule.STARVED:
            assert np.nanmin(values) > 6.0, tank
        if quantity == "temperature" and tank != schedule.HEATED:
            assert np.nanmax(values) < 29.4, tank


def test_live_goes_on_where_the_file_ends(begun: Begun, told: Series) -> None:
    """The first line lies on the file's last row, within three times the probe's noise and a last digit."""
    for (tank, quantity), (_, values) in told.items():
        last = begun.past[tank, quantity][1][-1]
        close = partial(pytest.approx, abs=1.0 if quantity == "oxygen_saturation" else 0.12)
        assert values[0] == close(last), (tank, quantity)
