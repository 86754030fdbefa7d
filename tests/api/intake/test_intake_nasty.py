"""What became of every nasty file, row by row of the table that ``python -m tests.intake_table`` prints."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.intake_table import ALL, became
from tests.support.nasty import Nasty


@pytest.mark.parametrize("one", ALL, ids=[one.name for one in ALL])
def test_what_became_of_it(one: Nasty, tmp_path: Path) -> None:
    """Questions, readings to the digit, each refused line with its reason, or the message."""
    found = became(one, tmp_path)
    if one.error:
        assert one.error in found.error
        return
    assert found.error == ""
    assert set(found.asks) == set(one.asks)
    assert sorted(found.gives) == sorted(one.gives)
    assert [line for line, _ in found.refused] == [line for line, _ in one.refused]
    for (_, reason), (_, words) in zip(found.refused, one.refused, strict=True):
        assert words in reason
    for words in one.says:
        assert any(words in note for note in found.says), found.says


def test_the_table_is_long_enough_and_its_names_differ() -> None:
    """At least 40 files."""
    assert len({one.name for one in ALL}) == len(ALL) >= 40
