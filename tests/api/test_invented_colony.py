"""The invented animals of the simulated room are a table like a keeper's: all rows are taken, with a past that fits."""

from __future__ import annotations

from datetime import UTC, datetime
from importlib.resources import files
from pathlib import Path

from api.invented_colony import colony_table
from api.services.animal_csv import read_animals
from api.services.animal_import import import_animals
from tests.support.rooms import room

TEMPLATE = (files("collector.simulated") / "colony.csv").read_text(encoding="utf-8")
SIMULATED = (files("collector.simulated") / "room.toml").read_text(encoding="utf-8")


def test_every_row_is_taken(tmp_path: Path) -> None:
    """In the simulated room's own tanks; molts and sizes go forward in time, one animal is soft now."""
    with room(tmp_path, SIMULATED) as lab:
        today = datetime.fromtimestamp(lab.now_ms / 1000, UTC).date()
        sheet = read_animals(colony_table(TEMPLATE, today, lab.service.plan().tanks), "UTC")
        done = import_animals(lab.service.animals, sheet, "simulated room", lab.now_ms)
        assert done.faults == ()
        assert done.same == 0
        lives = lab.service.lives.all().values()
        assert len(lives) == done.entered >= 8
        for life in lives:
            lengths = [size.carapace_mm for size in life.sizes]
            assert lengths == sorted(lengths, key=lambda one: one or 0.0), life.animal.name
            assert (
                life.tank
                == next(row for row in sheet.rows if row.newcomer.animal.name == life.animal.name).newcomer.tank
            )
            assert life.animal.species
        assert sum(len(life.molts) >= 3 for life in lives) >= 6
        assert [
            one.animal.name for one in (life for life in lives) if lab.now_ms - one.molts[-1].time_ms < 3 * 86_400_000
        ] == ["Flint"]


def test_tanks_that_a_keeper_took_out_get_none(tmp_path: Path) -> None:
    """A room file cut down to two tanks still starts without a fault."""
    today = datetime(2026, 9, 21, tzinfo=UTC).date()
    names = {row.newcomer.animal.name for row in read_animals(colony_table(TEMPLATE, today, ["A2", "A4"]), "UTC").rows}
    assert names == {"Pearl", "Flint"}
    assert "2026-09-19" in colony_table(TEMPLATE, today, ["A4"])
