"""Big files: read in blocks of bounded size, in memory that does not grow with the file."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from api.intake.blocks import blocks
from api.intake.look import look
from tests.bench.intake import ANSWERS, peak_mb, write
from tests.intake_table import ALL, main


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="peak memory is read from /proc, which only Linux has")
def test_memory_does_not_grow_with_the_file(tmp_path: Path) -> None:
    """Forty times the rows take less than 50 MB more; each way in a process of its own."""
    small, big = tmp_path / "small.csv", tmp_path / "big.csv"
    write(small, 10_000)
    write(big, 400_000)
    assert peak_mb(big) < peak_mb(small) + 50.0


def test_blocks_are_no_bigger_than_asked(tmp_path: Path) -> None:
    """All rows come, once, in their order."""
    path = tmp_path / "some.csv"
    write(path, 60_000)
    recipe = look(path, ANSWERS).recipe
    assert recipe is not None
    found = list(blocks(path, recipe, size=7_000))
    assert max(one.rows for one in found) <= 7_000
    assert sum(one.rows for one in found) == 60_000
    lines = [line for one in found for line in one.series[0].lines.tolist()]
    assert lines == list(range(2, 60_002))
    shares = [one.share for one in found]
    assert shares == sorted(shares)
    assert shares[-1] == 1.0


def test_the_table_is_printed(capsys: pytest.CaptureFixture[str]) -> None:
    """``python -m tests.intake_table``: a row for each file."""
    main()
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == "| file | what it is | what became of it |"
    assert sum(line.startswith("| ") for line in lines) == len(ALL) + 2
