"""Backup and restore: whole copies beside a writing service, kills, full disks, damage, and a start from a copy."""

from __future__ import annotations

import json
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from api.cli import main
from api.storage import backup as copying
from api.storage import backup_folder
from tests.support.backups import SLOW, back_up, copies, count, lab, next_second, place
from tests.support.rooms import TestRoom, room
from tests.support.small_disk import SmallDisk, may_mount

__all__ = ["lab"]


def test_what_a_backup_holds(lab: TestRoom, capsys: pytest.CaptureFixture[str]) -> None:
    """Database in one file, keys, room file, manifest with counts and checksums; for its owner's eyes only."""
    assert back_up(lab) == 0
    (made,) = copies(lab.folder)
    assert backup_folder.NAME.match(made.name)
    assert {str(path.relative_to(made)) for path in made.rglob("*") if path.is_file()} == {
        "intermolt.db", "collector.token", "session.key", "link.key", "room/room.toml", "manifest.json",
    }  # fmt: skip
    for path in [made, *made.rglob("*")]:
        assert path.stat().st_mode & 0o077 == 0, path
    for name in ("collector.token", "session.key"):
        assert (made / name).read_bytes() == (lab.folder / "data" / name).read_bytes()
    manifest = json.loads((made / "manifest.json").read_text(encoding="utf-8"))
    assert manifest["readings"] == count(lab.folder / "data" / "intermolt.db") == count(made / "intermolt.db") > 120
    done = subprocess.run(["sha256sum", str(made / "intermolt.db")], capture_output=True, text=True, check=True)
    assert done.stdout.split()[0] in {row["sha256"] for row in manifest["files"]}
    assert f"{made}: whole; {manifest['readings']} readings" in capsys.readouterr().out


def test_beside_a_writing_service(lab: TestRoom, monkeypatch: pytest.MonkeyPatch) -> None:
    """The copy is one moment: packs are in it whole or not at all; and no pack waits for the copying."""
    monkeypatch.setattr(copying, "STEP_PAGES", 1)
    monkeypatch.setattr(copying, "PAUSE_S", 0.02)
    ended = threading.Event()
    codes = []

    def work() -> None:
        codes.append(back_up(lab))
        ended.set()

    thread = threading.Thread(target=work)
    before = count(lab.folder / "data" / "intermolt.db")
    thread.start()
    took_s, packs = 0.0, 0
    while not ended.is_set():
        began_s = time.monotonic()
        lab.minute(8.0)
        took_s, packs = max(took_s, time.monotonic() - began_s), packs + 1
    thread.join()
    assert codes == [0]
    assert packs >= 10
    assert took_s < 5.0  # a writer shut out would have waited its ten seconds and failed
    (made,) = copies(lab.folder)
    copy = sqlite3.connect(made / "intermolt.db")
    try:
        rows = dict(copy.execute("SELECT probe || quantity, count(*) FROM reading JOIN channel c ON c.id = channel"
                                 " WHERE derived = 0 GROUP BY channel"))  # fmt: skip
        assert copy.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    finally:
        copy.close()
    assert rows["p1temperature"] == rows["p1oxygen"]
    assert before <= count(made / "intermolt.db") < count(lab.folder / "data" / "intermolt.db")


def test_killed_in_the_middle(lab: TestRoom) -> None:
    """Nothing that looks like a backup is left; the next one clears up and is whole."""
    to = lab.folder / "copies"
    command = [sys.executable, "-c", SLOW, "backup", "--to", str(to), *place(lab.folder)]
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    try:
        until_s = time.monotonic() + 60
        while not list(to.glob(".partial-*/intermolt.db")) and time.monotonic() < until_s:
            time.sleep(0.01)
        assert main(["backup", "--to", str(to), *place(lab.folder)]) == 2  # one at a time
        process.send_signal(signal.SIGKILL)
    finally:
        process.kill()
        assert process.wait() == -signal.SIGKILL
    assert len(list(to.glob(".partial-*"))) == 1
    assert copies(lab.folder) == backup_folder.whole(to) == []
    assert back_up(lab) == 0
    assert len(backup_folder.whole(to)) == 1
    assert list(to.glob(".partial-*")) == []


@pytest.mark.skipif(not may_mount(), reason="needs root to mount a small disk")
def test_a_full_disk(lab: TestRoom, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """Said before the work where it can be known, and on the way otherwise; no half backup either way."""
    with SmallDisk(lab.folder / "copies", 1):
        assert back_up(lab) == 1
        said = capsys.readouterr().err
        assert "MB free" in said
        assert "--to" in said
        monkeypatch.setattr("api.backup_command._room_for", lambda source, to: None)
        (lab.folder / "copies" / "other").write_bytes(b"\0" * 1_000_000)
        assert back_up(lab) == 1
        assert "full" in capsys.readouterr().err
        assert [path.name for path in copies(lab.folder)] == ["other"]
        assert list((lab.folder / "copies").glob(".partial-*")) == []


def test_keep_lets_go_of_the_oldest_whole_ones_only(lab: TestRoom, monkeypatch: pytest.MonkeyPatch) -> None:
    """A folder without a manifest, one with a file missing and other people's folders stay."""
    next_second(monkeypatch)
    for _ in range(3):
        assert back_up(lab) == 0
    made = copies(lab.folder)
    (made[0] / "collector.token").unlink()
    for name in ("intermolt-20200101-000000", "other"):
        (lab.folder / "copies" / name).mkdir()
    assert back_up(lab, "--keep", "2") == 0
    left = copies(lab.folder)
    assert [path.name for path in left[:2]] == ["intermolt-20200101-000000", made[0].name]
    assert made[1] not in left
    assert made[2] in left
    assert len(left) == 5
    assert back_up(lab, "--keep", "0") == 2


def test_a_database_that_is_damaged_is_never_called_whole(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A page overwritten with rubbish: exit 1, the fault in words, and older backups stay."""
    with room(tmp_path) as lab:
        for _ in range(60):
            lab.minute(8.0)
    assert back_up(lab) == 0
    database = tmp_path / "data" / "intermolt.db"
    content = bytearray(database.read_bytes())
    connection = sqlite3.connect(database)
    (page,) = connection.execute("SELECT rootpage FROM sqlite_schema WHERE name = 'reading'").fetchone()
    (size,) = connection.execute("PRAGMA page_size").fetchone()
    connection.close()
    content[(page - 1) * size : (page - 1) * size + 64] = b"\xff" * 64
    database.write_bytes(content)
    time.sleep(1.1)
    assert back_up(lab, "--keep", "1") == 1
    assert "intermolt.db" in capsys.readouterr().err
    assert len(copies(tmp_path)) == 1


def test_nothing_to_copy_or_nowhere_to_put_it(lab: TestRoom, capsys: pytest.CaptureFixture[str]) -> None:
    """2, and what to do."""
    assert main(["backup", *place(lab.folder, "none")]) == 2
    assert "name the folder with --data" in capsys.readouterr().err
    assert main(["backup", "--to", str(lab.folder / "data" / "in"), *place(lab.folder)]) == 2
    assert "give another folder with --to" in capsys.readouterr().err
    assert main(["backup", "--to", str(lab.folder / "room.toml"), *place(lab.folder)]) == 2
    assert "cannot write backups into" in capsys.readouterr().err
