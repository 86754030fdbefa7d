"""Room files as editors and slips make them: told by line, never a traceback, never a limit that holds nothing."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from api.cli import main
from api.domain.errors import RoomFileError
from api.domain.roomfile import parse_room

GOOD = """[room]
name = "R"
zone = "UTC"
[[tank]]
id = "t1"
volume_l = 20.0
[[probe]]
id = "p1"
tank = "t1"
driver = "serial_lines"
[[probe.value]]
quantity = "oxygen"
unit = "mg/L"
[[care]]
name = "own"
[care.oxygen]
tolerable_low = 5.0
danger_low = 3.0
[[notify]]
name = "keeper"
url = "json://127.0.0.1/"
"""


@pytest.mark.parametrize(
    ("right", "wrong", "line", "words"),
    [
        ("tolerable_low = 5.0", "tolerable_low = nan", 17, "not a finite number"),
        ("danger_low = 3.0", "danger_low = -inf", 18, "not a finite number"),
        ("volume_l = 20.0", "volume_l = nan", 6, "not a finite number"),
        ("volume_l = 20.0", "volume_l = 1" + "0" * 400, 6, "not a finite number"),
        ("volume_l = 20.0", "volume_l = true", 6, "should be a number"),
        ("tolerable_low = 5.0\ndanger_low = 3.0", "deadband = 0.1", 16, "sets no limit"),
        ("[[notify]]", '[[notify]]\nname = "keeper"\nurl = "x://"\n[[notify]]', 23, "stands twice"),
        ("[[care]]", '[[care]]\nname = "own"\n[[care]]', 17, "stands twice"),
        ('unit = "mg/L"', 'unit = ""', 13, "not usable"),
        ('unit = "mg/L"', "unit = 5", 13, "text in quotes"),
        ('[[tank]]\nid = "t1"', '[tank]\nid = "t1"', 4, "two brackets"),
        ('name = "R"', "", 1, "key 'name' is missing"),
        ('zone = "UTC"', 'zone = "../../etc/passwd"', 3, "not a time zone"),
        ('driver = "serial_lines"', "", 7, "key 'driver' is missing"),
    ],
)
def test_a_slip_is_told_by_its_line(right: str, wrong: str, line: int, words: str) -> None:
    """A limit of no number would hold nothing and say nothing."""
    with pytest.raises(RoomFileError) as caught:
        parse_room(GOOD.replace(right, wrong, 1))
    assert words in str(caught.value)
    assert caught.value.line == line


@pytest.mark.parametrize("text", ["", "[room]\nname = [" + "[" * 5000, "x = 1" + "0" * 5000, "room = 5", "[[room]]\n"])
def test_what_is_no_room_at_all(text: str) -> None:
    """Not even deep nesting or endless digits end in a traceback."""
    with pytest.raises(RoomFileError):
        parse_room(text)


@settings(deadline=None, max_examples=150)
@given(st.integers(0, len(GOOD) - 1), st.text(max_size=4))
def test_any_small_damage_is_read_or_told(at: int, put: str) -> None:
    """Whatever stands at whatever place."""
    with suppress(RoomFileError):
        assert parse_room(GOOD[:at] + put + GOOD[at + 1 :]).care


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (GOOD.replace('"R"', '"Kühl"').encode("latin-1"), "line 2: this is not UTF-8 text. Save the file as UTF-8."),
        (b"\xef\xbb\xbf" + GOOD.encode(), "byte order mark"),
        (GOOD.encode("utf-16"), "not UTF-8"),
        (b"", "there is no [room] table"),
    ],
)
def test_other_encodings_are_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], content: bytes, words: str
) -> None:
    """One line on stderr, exit code 2, for every command that reads the file."""
    path = tmp_path / "room.toml"
    path.write_bytes(content)
    for command in (["room", "check"], ["run"], ["serve"]):
        assert main([*command, "--room", str(path), "--data", str(tmp_path / "data")]) == 2
        assert words in capsys.readouterr().err


def test_windows_line_ends_are_fine(tmp_path: Path) -> None:
    """CR LF."""
    path = tmp_path / "room.toml"
    path.write_bytes(GOOD.replace('"serial_lines"', '"none"').replace("\n", "\r\n").encode())
    assert main(["room", "check", "--room", str(path)]) == 0


def test_a_folder_is_no_room_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The system's words, and what to do."""
    assert main(["room", "check", "--room", str(tmp_path)]) == 2
    assert "Is a directory; name the room file with --room" in capsys.readouterr().err
