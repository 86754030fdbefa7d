"""What a look asks and what blocks give: the real record of a stream beside pandas, and the plain layouts."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from api.domain.errors import InputError
from api.domain.quantity import Quantity
from api.intake import look as look_module
from api.intake.asked import KEYS
from api.intake.block import RefusedRow, Series
from api.intake.blocks import blocks
from api.intake.look import look
from api.intake.recipe import Recipe

CREEK = Path(__file__).parents[2] / "published" / "french_creek_takeover.csv"
ANSWERS = {"zone": "America/Denver", "unit:temp": "Cel", "unit:oxy": "mg/L"}


def joined(
    source: Path, recipe: Recipe, size: int = 50_000
) -> tuple[dict[tuple[str, str, str], Series], list[RefusedRow]]:
    """All readings of a file by probe, quantity and unit, and what was refused."""
    parts: dict[tuple[str, str, str], list[Series]] = {}
    refused: list[RefusedRow] = []
    for block in blocks(source, recipe, size=size):
        refused += block.refused
        for one in block.series:
            parts.setdefault((one.probe, str(one.quantity), one.unit), []).append(one)
    whole = {
        key: Series(
            key[0], Quantity(key[1]), key[2], np.concatenate([one.lines for one in some]),
            np.concatenate([one.times_ms for one in some]), np.concatenate([one.values for one in some]),
        )
        for key, some in parts.items()
    }  # fmt: skip
    return whole, refused


def test_a_real_record_asks_for_zone_and_units_and_proves_its_dates() -> None:
    """Month first is proved by the days after the twelfth; what the file does not say is asked."""
    found = look(CREEK)
    assert found.recipe is None
    assert {one.key for one in found.questions if one.must} == {"zone", "unit:temp", "unit:oxy"}
    assert any("month, day, year" in note for note in found.notes)
    assert look(CREEK, ANSWERS).recipe is not None


@pytest.mark.parametrize("size", [50_000, 100])
def test_a_real_record_is_read_as_pandas_reads_it(size: int) -> None:
    """Independent: pandas' parser of the same file, its own zone rules."""
    recipe = look(CREEK, ANSWERS).recipe
    assert recipe is not None
    found, refused = joined(CREEK, Recipe.from_json(recipe.to_json()), size)
    table = pd.read_csv(CREEK)
    when = pd.to_datetime(table["date"] + " " + table["time"], format="%m/%d/%Y %H:%M:%S")
    times = when.dt.tz_localize("America/Denver").astype("datetime64[ms, UTC]").astype("int64")
    assert not refused
    for (probe, quantity, _), series in found.items():
        column = "temp" if quantity == "temperature" else "oxy"
        there = (table["sonde"] == probe) & table[column].notna()
        np.testing.assert_array_equal(series.times_ms, times[there].to_numpy())
        np.testing.assert_array_equal(series.values, table[column][there].to_numpy())
        np.testing.assert_array_equal(series.lines, np.flatnonzero(there) + 2)
    assert sum(len(one.values) for one in found.values()) == table[["temp", "oxy"]].notna().sum().sum()


def test_reading_goes_on_after_any_block() -> None:
    """What a second run gives from ``next_row`` on is what the first would have given."""
    recipe = look(CREEK, ANSWERS).recipe
    assert recipe is not None
    whole = list(blocks(CREEK, recipe, size=200))
    for at in (0, 3, len(whole) - 2):
        rest = list(blocks(CREEK, recipe, whole[at].next_row, size=200))
        lines = [one.lines.tolist() for block in rest for one in block.series]
        assert lines == [one.lines.tolist() for block in whole[at + 1 :] for one in block.series]
    assert sum(block.rows for block in whole) == len(CREEK.read_text().splitlines()) - 1
    assert whole[-1].share == 1.0


def test_an_answer_that_cannot_be_is_told() -> None:
    """A key nobody asks, a zone nobody knows, a unit of another quantity."""
    for answers, words in (
        ({"zoen": "UTC"}, "nothing is asked under 'zoen'"),
        ({"zone": "America/Denvr"}, "there is no zone 'America/Denvr'"),
        ({"unit:temp": "mg/L"}, "is no unit for temperature"),
    ):
        with pytest.raises(InputError, match=words):
            look(CREEK, answers)


def test_every_key_is_told() -> None:
    """The docstring of ``look`` is what the command, the page and the recipe rely on."""
    told = {
        line.split()[0].partition(":")[0] for line in (look_module.__doc__ or "").splitlines() if line[:4] == "    "
    }
    assert {key.rstrip(":") for key in KEYS} <= told
