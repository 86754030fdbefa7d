"""The second voice rings those whom a page has put above the room file, also when the service is dead."""

from __future__ import annotations

import stat
from pathlib import Path

import pytest

from api.domain.told import FILE
from api.services.people_edit import WishedPerson
from tests.support.reach_room import LADDER, PEOPLE, reach_room
from tests.support.voice_desk import Desk, desk

__all__ = ["desk"]
DORA = WishedPerson("Dora", (0, 1, 2, 3, 4, 5, 6), "07:00-22:00", "today", add="json://dora-phone/")


def test_the_service_leaves_who_is_told_for_nobody_else_to_read(tmp_path: Path) -> None:
    """Once something was changed; taken back, the room file's word is in force and the file is gone."""
    path = tmp_path / "data" / FILE
    with reach_room(tmp_path, PEOPLE, LADDER) as room:
        edit = room.service.reaching.edit
        assert not path.exists()
        edit.save(DORA, "Ana", new=True).result()
        edit.leave_out("Ana", "Ana").result()
        assert "dora-phone" in path.read_text(encoding="utf-8")
        assert "ana-phone" not in path.read_text(encoding="utf-8")
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
        path.unlink()
        room.restart()
        assert path.exists(), "left again at every start"
        edit = room.service.reaching.edit
        edit.as_file("Dora", "Ana").result()
        edit.as_file("Ana", "Ana").result()
        assert not path.exists()


def test_the_second_voice_rings_them(desk: Desk) -> None:
    """Dora, and not the keeper of the room file; with what was left while it ran."""
    (desk.folder / FILE).write_text('[{"name": "Dora, channel 1", "url": "json://dora-phone/"}]', encoding="utf-8")
    for _ in range(16):
        desk.minute(7.0)
    assert desk.rung == ["json://dora-phone/"]


@pytest.mark.parametrize("text", ["", "{", "[1]", '{"a": 1}', "[]", '[{"name": "x"}]', "\x00"])
def test_what_is_no_such_file_leaves_the_room_file_in_force(desk: Desk, text: str) -> None:
    """Half written, empty or of another kind: the keeper is rung."""
    (desk.folder / FILE).write_text(text, encoding="utf-8")
    for _ in range(16):
        desk.minute(7.0)
    assert desk.rung == ["json://keeper/"]
