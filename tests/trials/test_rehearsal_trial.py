"""The rehearsal trial's short form: rooms by chance whose recordings must be the same both ways."""

from __future__ import annotations

from pathlib import Path

import pytest

from api.rehearsal.compiled import compiled_run
from tests.trials.rehearsals import both_ways


@pytest.mark.parametrize("seed", [1, 3, 4, 6, 133])
def test_rooms_by_chance_are_the_same_both_ways(tmp_path: Path, seed: int) -> None:
    """In the last one other tanks were counted as not heard of lately, once."""
    run = compiled_run()
    assert run is not None
    found = both_ways(seed, run, tmp_path)
    assert found is not None
    assert found.compiled > 0
    assert found.same
