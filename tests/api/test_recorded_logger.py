"""A logger's file in a rehearsal: taken where it says everything itself, else told what it leaves open."""

from __future__ import annotations

from pathlib import Path

import pytest

from api.domain.errors import InputError
from api.domain.quantity import Quantity
from api.services.recorded import read_recorded
from api.services.recorded_logger import LeftOpen
from tests.support.nasty import rows


def test_a_wide_file_that_says_everything_is_read(tmp_path: Path) -> None:
    """A column a quantity, units and zone in the header; a row that cannot be used is told with its line."""
    path = tmp_path / "wide.csv"
    path.write_bytes(
        rows("Time (UTC);p1 Temp (°C);p1 DO (mg/L)", "2024-03-01 10:00;20,1;8,1", "2024-03-01 10:05;off;8,2")
    )
    found = read_recorded([path])
    assert [(one.probe, one.quantity, one.units, one.raws.tolist()) for one in found.recorded] == [
        ("p1", Quantity.TEMPERATURE, "Cel", [20.1]), ("p1", Quantity.OXYGEN, "mg/L", [8.1, 8.2]),
    ]  # fmt: skip
    assert found.span_ms == (1_709_287_200_000, 1_709_287_500_000), "10:00 and 10:05 UTC"
    assert found.refused == [(str(path), 3, "p1 Temp (°C): 'off' is no number")]


def test_what_a_file_leaves_open_is_named(tmp_path: Path) -> None:
    """Nothing is guessed."""
    path = tmp_path / "open.csv"
    path.write_bytes(rows("Time,Temp", "2024-03-01 10:00,20.1"))
    with pytest.raises(LeftOpen, match=r"must name the columns .* leaves open: zone, unit:Temp, probe$") as left:
        read_recorded([path])
    assert [one.key for one in left.value.questions] == ["zone", "unit:Temp", "probe"]


def test_what_is_answered_is_taken(tmp_path: Path) -> None:
    """68.18 degF are 20.1 Cel; 10:00 in Berlin in March is 09:00 UTC. An answer nobody asked for is told."""
    path = tmp_path / "open.csv"
    path.write_bytes(rows("Time,Temp", "2024-03-01 10:00,68.18"))
    answers = {"zone": "Europe/Berlin", "unit:Temp": "[degF]", "probe": "p1"}
    found = read_recorded([path], answers).recorded
    assert [(one.probe, one.quantity, one.units, one.raws.tolist()) for one in found] == [
        ("p1", Quantity.TEMPERATURE, "[degF]", [68.18])
    ]
    assert found[0].times_ms.tolist() == [1_709_283_600_000]
    with pytest.raises(InputError, match="nothing is asked under 'colour'"):
        read_recorded([path], {"colour": "red"})
