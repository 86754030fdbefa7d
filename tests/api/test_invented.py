"""Invented readings and real ones never stand side by side in one data folder."""

from __future__ import annotations

from pathlib import Path

import pytest

from api.cli import main
from tests.support.rooms import ROOM, room

SIMULATED = ROOM.replace("[[tank]]", "[room.simulated]\nseed = 1\n[[tank]]", 1)


@pytest.mark.parametrize(
    ("first", "then", "words"),
    [(SIMULATED, ROOM, "invented readings of a simulated room"), (ROOM, SIMULATED, "readings of a real room")],
)
def test_the_other_sort_of_room_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], first: str, then: str, words: str
) -> None:
    """Before anything is changed, with the command that puts the folder aside; the first room goes on as before."""
    with room(tmp_path, first) as lab:
        lab.minute(7.0)
    path, data = tmp_path / "room.toml", tmp_path / "data"
    path.write_text(then, encoding="utf-8")
    assert main(["serve", "--room", str(path), "--data", str(data), "--port", "1"]) == 2
    said = capsys.readouterr().err
    assert words in said
    assert f"mv {data} {data}-" in said
    with room(tmp_path, first) as lab:
        assert lab.service.plan().simulated == ("simulated" in first)
        assert len(lab.service.read.room(lab.now_ms).tanks) == 2


def test_an_empty_folder_takes_either(tmp_path: Path) -> None:
    """Nothing was read yet: a room that was looked at as a simulated one becomes a real one."""
    with room(tmp_path, SIMULATED):
        pass
    with room(tmp_path, ROOM) as lab:
        assert not lab.service.plan().simulated
