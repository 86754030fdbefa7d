"""What keepers type and disks refuse: words that say what, where and what to do, and never a traceback."""

from __future__ import annotations

import errno
import os
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from api.cli import main
from api.trouble import disk_words, fault_words
from tests.support.rooms import room

ROOM = '[room]\nname = "R"\nzone = "UTC"\n'
PROBE = """[[tank]]
id = "t1"
[[probe]]
id = "p1"
tank = "t1"
driver = "serial_lines"
port = "/dev/ttyUSB7"
every_s = 10
[[probe.value]]
quantity = "temperature"
unit = "Cel"
field = 1
"""


@pytest.mark.parametrize(
    "words", [("user", "list"), ("import", __file__), ("export", "--out", "-"), ("review",), ("animals", "export")]
)
def test_a_file_that_is_no_database(tmp_path: Path, capsys: pytest.CaptureFixture[str], words: tuple[str, ...]) -> None:
    """Exit code 2, the file, and the way back."""
    (tmp_path / "intermolt.db").write_bytes(os.urandom(50_000))
    assert main([*words, "--data", str(tmp_path), "--room", str(tmp_path / "room.toml")]) == 2
    said = capsys.readouterr().err
    assert f"{tmp_path / 'intermolt.db'} is damaged" in said
    assert "intermolt restore FOLDER" in said


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (PermissionError(errno.EACCES, "Permission denied", "/d/service.lock"), "/d/service.lock may not be read or"),
        (sqlite3.OperationalError("attempt to write a readonly database"), "/d may not be read or written"),
        (FileExistsError(errno.EEXIST, "File exists", "/d"), "/d is a file where a folder is needed"),
        (OSError(errno.ENOSPC, "No space left on device"), "the disk of /d is full ("),
        (sqlite3.OperationalError("database or disk is full"), "the disk of /d is full"),
        (sqlite3.DatabaseError("database disk image is malformed"), "is damaged"),
        (sqlite3.OperationalError("database is locked"), "cannot be used now: database is locked"),
    ],
)
def test_what_a_disk_refuses(error: OSError | sqlite3.Error, words: str) -> None:
    """Making room is advised where room is what is lacking, and nowhere else."""
    said = disk_words(error, Path("/d"))
    assert words in said
    assert ("make room" in said) == ("is full" in said)


def test_a_fault_in_the_program_goes_into_a_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A keeper sees one sentence; the trace is there for who can read it."""
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    monkeypatch.setattr("tempfile.tempdir", None)
    try:
        raise KeyError("oxygen")
    except KeyError as error:
        said = fault_words(error)
    (file,) = tmp_path.glob("intermolt-fault-*.txt")
    assert str(file) in said
    assert "Traceback" not in said
    assert "Traceback" in file.read_text(encoding="utf-8")


def test_names_behind_the_options(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """``animals export --events FILE`` is what one types; a word too many is told."""
    place = ["--room", str(tmp_path / "room.toml"), "--data", str(tmp_path / "data")]
    with room(tmp_path):
        assert main(["animals", "export", "--events", *place, str(tmp_path / "e.csv")]) == 0
    assert (tmp_path / "e.csv").read_text(encoding="utf-8").startswith("id,time,")
    assert main(["user", "remove", *place, "Nobody"]) == 2
    assert "no keeper 'Nobody'" in capsys.readouterr().err
    with pytest.raises(SystemExit) as ended:
        main(["user", "list", *place, "one", "more"])
    assert ended.value.code == 2
    assert "not understood: one more" in capsys.readouterr().err


def test_a_look_makes_no_data_folder(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A mistyped --data is told, and no empty folder is left behind."""
    assert main(["user", "list", "--data", str(tmp_path / "intermolt-dato")]) == 2
    assert "name the folder with --data" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(("out", "words"), [("notes.md", "is there already"), ("march.xlsx", ".csv or .parquet")])
def test_exports_write_over_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str], out: str, words: str) -> None:
    """Nor into a folder that looks like a table."""
    (tmp_path / "notes.md").write_text("mine", encoding="utf-8")
    with room(tmp_path):
        assert main(["export", "--data", str(tmp_path / "data"), "--out", str(tmp_path / out)]) == 2
    assert words in capsys.readouterr().err
    assert (tmp_path / "notes.md").read_text(encoding="utf-8") == "mine"


def test_a_reader_that_has_seen_enough(tmp_path: Path) -> None:
    """``intermolt animals export | head`` ends in silence."""
    with room(tmp_path):
        pass
    command = f"{sys.executable} -m api.cli animals export --data {tmp_path / 'data'} | true"
    done = subprocess.run(["bash", "-c", command], capture_output=True, text=True, check=False)
    assert done.stderr == ""


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('"serial_lines"', '"serial_line"', "line 9: [probe] driver = 'serial_line' is not known. Did you mean"),
        ('"Cel"', '"Celsiuss"', "probe 'p1', temperature: unit 'Celsiuss'"),
        ('"t1"', "t1", "line 5: this is not TOML: Invalid value in 'id = t1'. A text stands between straight quotes"),
        ('"t1"', "“t1”", "line 5: this is not TOML: Invalid value in 'id = “t1”'. It has curly quotes"),
        ("[[probe]]", "[tank]", "line 6: this is not TOML"),
        ("every_s = 10", "every_s 10", "Write key = value"),
    ],
)
def test_room_check_finds_what_would_stop_the_start(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], old: str, new: str, words: str
) -> None:
    """With the file and its line, drivers and their keys too."""
    path = tmp_path / "room.toml"
    path.write_text(ROOM + PROBE, encoding="utf-8")
    assert main(["room", "check", "--room", str(path)]) == 0
    path.write_text(ROOM + PROBE.replace(old, new, 1), encoding="utf-8")
    assert main(["room", "check", "--room", str(path)]) == 2
    said = capsys.readouterr().err
    assert str(path) in said
    assert words in said
