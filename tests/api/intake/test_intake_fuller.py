"""Blocks put together say what they said, row for row, and end where a killed import goes on."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from api.domain.quantity import Quantity
from api.importing import read
from api.intake import fuller as module
from api.intake.block import Block, RefusedRow, Series
from api.intake.blocks import blocks
from api.intake.fuller import fuller
from api.intake.look import look

Q = Quantity


@pytest.fixture(autouse=True)
def small(monkeypatch: pytest.MonkeyPatch) -> None:
    """Short files do."""
    monkeypatch.setattr(module, "ENOUGH", 30)
    monkeypatch.setattr(module, "MOST", 400)


def written(path: Path, rows: int, probes: int) -> Path:
    """A row of a probe a second, a bad cell here and there, one probe in two units."""
    lines = ["probe,time,temperature (°C),oxygen (mg/L)"]
    for n in range(rows):
        warm = "warm" if n % 41 == 5 else f"{20 + n % 7}"
        lines.append(f"p{n % probes},2024-03-01T{n // 3600:02}:{n // 60 % 60:02}:{n % 60:02}Z,{warm},{7 + n % 3}")
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def rows_of(some: Iterator[Block]) -> tuple[dict[tuple[str, Quantity, str], list[tuple[int, ...]]], list[RefusedRow]]:
    """Every channel's rows in the order they come, and what was refused."""
    out: dict[tuple[str, Quantity, str], list[tuple[int, ...]]] = {}
    refused: list[RefusedRow] = []
    for block in some:
        refused += block.refused
        for one in block.series:
            said = zip(one.lines.tolist(), one.times_ms.tolist(), one.values.tolist(), strict=True)
            out.setdefault((one.probe, one.quantity, one.unit), []).extend(said)
    return out, refused


@pytest.mark.parametrize("probes", [1, 9, 40])
def test_the_same_rows_in_fewer_blocks(tmp_path: Path, probes: int) -> None:
    """As the file has them; enough of each probe where the most rows allow it."""
    recipe = look(written(tmp_path / "long.csv", 2_000, probes)).recipe
    assert recipe is not None
    plain = list(blocks(tmp_path / "long.csv", recipe, size=50))
    put = list(fuller(plain))
    assert rows_of(iter(put)) == rows_of(iter(plain))
    assert (sum(one.rows for one in put), put[-1].next_row, put[-1].share) == (2_000, plain[-1].next_row, 1.0)
    assert max(one.rows for one in put) <= 400
    assert {min(series.times_ms.size for series in one.series) >= min(30, 400 // probes) - 5 for one in put[:-1]} == {
        True
    }
    assert len(put) <= 2_000 // min(400, 30 * probes) + 1


def test_an_import_goes_on_behind_each_of_them(tmp_path: Path) -> None:
    """What is read from a block's end on is the rest."""
    recipe = look(written(tmp_path / "long.csv", 500, 9)).recipe
    assert recipe is not None
    text = recipe.to_json()
    whole = rows_of(read(tmp_path / "long.csv", text, 0))
    put = list(fuller(blocks(tmp_path / "long.csv", recipe, size=20)))
    assert len(put) == 2
    rest = rows_of(read(tmp_path / "long.csv", text, put[0].next_row))
    first = rows_of(iter(put[:1]))
    assert {key: first[0][key] + rest[0][key] for key in whole[0]} == whole[0]
    assert first[1] + rest[1] == whole[1]


def test_one_block_stays_what_it_is() -> None:
    """A file of one probe is not touched."""
    series = Series("p", Q.OXYGEN, "mg/L", np.arange(50), np.arange(50), np.ones(50))
    block = Block((series,), (), 50, 50, 1.0)
    assert next(iter(fuller([block]))) is block
    assert list(fuller([])) == []
