"""A kept understanding read another day: what it answers, when it does not fit, and what it must not force."""

from __future__ import annotations

from pathlib import Path

import pytest

from api.domain.errors import InputError
from api.intake.blocks import blocks
from api.intake.errors import FileError
from api.intake.look import look
from api.intake.recipe import Recipe
from tests.support.nasty import rows

ANSWERS = {"zone": "Europe/Berlin", "probe": "p", "unit:Temp": "Cel"}
JULY = rows("Shelf 3", "Time,Temp,Note", "25/07/2024 10:00,20.1,", "26/07/2024 10:00,20.2,fed")


def _kept(folder: Path) -> Recipe:
    path = folder / "july.csv"
    path.write_bytes(JULY)
    recipe = look(path, ANSWERS).recipe
    assert recipe is not None
    return Recipe.from_json(recipe.to_json())


def test_the_next_file_of_the_kind_asks_nothing(tmp_path: Path) -> None:
    """Its dates prove no order by themselves; the file before did, and it has another preamble and another end."""
    path = tmp_path / "august.csv"
    path.write_bytes(rows("Shelf 3", "again", "", "Time,Temp,Note", "01/08/2024 10:00,20.3,", encoding="utf-16"))
    assert {one.key for one in look(path).questions if one.must} == {"date_order", "zone", "probe", "unit:Temp"}
    recipe = _kept(tmp_path)
    found = look(path, {}, recipe)
    assert found.recipe is not None
    assert recipe.fits(found) == ""
    (block,) = blocks(path, found.recipe)
    assert block.series[0].times_ms.tolist() == [1_722_499_200_000], "2024-08-01 08:00 UTC"


def test_what_a_file_proves_comes_before_what_a_recipe_says(tmp_path: Path) -> None:
    """The logger's clock was set to month first: its own dates say so."""
    path = tmp_path / "set.csv"
    path.write_bytes(rows("Time,Temp,Note", "08/25/2024 10:00,20.3,"))
    found = look(path, {}, _kept(tmp_path))
    assert found.recipe is not None
    assert found.recipe.time.order == "mdy"


def test_a_recipe_for_another_file_is_told(tmp_path: Path) -> None:
    """By the column that is not there; in ``blocks`` with file and line."""
    path = tmp_path / "other.csv"
    path.write_bytes(rows("Time,Water (°C)", "2024-08-25 10:00,20.3"))
    recipe = _kept(tmp_path)
    assert recipe.fits(look(path)) == "the file lacks the column 'Temp' that the recipe reads"
    with pytest.raises(FileError, match=r"other.csv, line 1: it has no column 'Temp'"):
        list(blocks(path, recipe))


@pytest.mark.parametrize("text", ["", "{}", "[]", "null", '{"version": 1}', '{"version": 99, "kind": "text"}'])
def test_a_text_that_is_no_recipe(text: str) -> None:
    """Told, with what to do."""
    with pytest.raises(InputError, match="recipe"):
        Recipe.from_json(text)


def test_another_column_more_does_not_matter(tmp_path: Path) -> None:
    """What the recipe leaves out may change; a new column is left out and shown."""
    path = tmp_path / "more.csv"
    path.write_bytes(rows("Time,Battery,Temp", "25/08/2024 10:00,3.1,20.3"))
    found = look(path, {}, _kept(tmp_path))
    assert found.recipe is not None
    assert [(one.name, one.became) for one in found.columns] == [
        ("Time", "time"), ("Battery", "left out: it is not said what it measures"), ("Temp", "temperature"),
    ]  # fmt: skip
