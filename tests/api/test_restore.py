"""Restore: a backup in place of nothing, a killed service's rests or a damaged database; what is no backup."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Callable

import pytest

from api.cli import main
from api.storage import backup_folder
from tests.support.backups import back_up, copies, count, lab, place
from tests.support.rooms import TestRoom

__all__ = ["lab"]


def test_restore_then_start(lab: TestRoom, capsys: pytest.CaptureFixture[str]) -> None:
    """The service goes on from the copy; what came later is put aside, not deleted, and the spool is left alone."""
    assert back_up(lab) == 0
    (made,) = copies(lab.folder)
    kept = count(made / "intermolt.db")
    token = (made / "collector.token").read_bytes()
    data = lab.folder / "data"
    assert main(["restore", str(made), *place(lab.folder)]) == 2
    assert "stop it first" in capsys.readouterr().err
    lab.minute(2.0)
    later = count(data / "intermolt.db")
    lab.close()
    (data / "spool.db").write_bytes(b"waiting")
    (data / "collector.token").write_bytes(b"another")
    written = (lab.folder / "room.toml").read_text(encoding="utf-8")
    (lab.folder / "room.toml").write_text(written + "# changed\n", encoding="utf-8")
    assert main(["restore", str(made), *place(lab.folder)]) == 0
    said = capsys.readouterr().out
    (aside,) = data.glob("before-restore-*")
    assert str(aside) in said
    assert "Next: start the service" in said
    assert count(aside / "intermolt.db") == later > kept
    assert (aside / "collector.token").read_bytes() == b"another"
    assert (aside / "room" / "room.toml").read_text(encoding="utf-8").endswith("# changed\n")
    assert (lab.folder / "room.toml").read_text(encoding="utf-8") == written
    assert (data / "spool.db").read_bytes() == b"waiting"
    assert (data / "collector.token").read_bytes() == token
    lab.service = lab._open()
    assert count(data / "intermolt.db") == kept
    lab.minute(8.0)
    assert count(data / "intermolt.db") == later


def test_restore_over_what_a_killed_service_left(lab: TestRoom) -> None:
    """Its write-ahead log is neither lost nor played into the restored database."""
    assert back_up(lab) == 0
    (made,) = copies(lab.folder)
    for _ in range(5):
        lab.minute(8.0)
    killed = lab.folder / "killed"
    killed.mkdir()
    for ending in ("", "-wal"):  # as they lie on disk in this moment
        shutil.copyfile(lab.folder / "data" / f"intermolt.db{ending}", killed / f"intermolt.db{ending}")
    assert (killed / "intermolt.db-wal").stat().st_size > 0
    later = count(lab.folder / "data" / "intermolt.db")
    assert main(["restore", str(made), *place(lab.folder, "killed")]) == 0
    (aside,) = killed.glob("before-restore-*")
    assert count(aside / "intermolt.db") == later
    assert count(killed / "intermolt.db") == count(made / "intermolt.db") < later


def test_restore_over_a_damaged_database(lab: TestRoom) -> None:
    """Rubbish is put aside as it lay, its log beside it; the copy stands alone."""
    assert back_up(lab) == 0
    (made,) = copies(lab.folder)
    broken = lab.folder / "broken"
    broken.mkdir()
    for ending in ("", "-wal"):
        (broken / f"intermolt.db{ending}").write_bytes(b"rubbish" * 1000)
    assert main(["restore", str(made), *place(lab.folder, "broken")]) == 0
    (aside,) = broken.glob("before-restore-*")
    assert {path.name: path.read_bytes() for path in aside.iterdir() if path.suffix != ".db-shm"} == {
        f"intermolt.db{ending}": b"rubbish" * 1000 for ending in ("", "-wal")
    }
    assert count(broken / "intermolt.db") == count(made / "intermolt.db")


def test_restore_into_an_empty_place(lab: TestRoom) -> None:
    """As on a new computer: a service starts there with all of it."""
    assert back_up(lab) == 0
    (made,) = copies(lab.folder)
    new = lab.folder / "new"
    new.mkdir()
    assert main(["restore", str(made), *place(new)]) == 0
    assert list((new / "data").glob("before-restore-*")) == []
    assert (new / "room.toml").read_bytes() == (lab.folder / "room.toml").read_bytes()
    other = TestRoom(new)
    try:
        assert other.service.read.tank("t1", lab.now_ms).tank.id == "t1"
        assert count(new / "data" / "intermolt.db") == count(made / "intermolt.db")
    finally:
        other.close()


@pytest.mark.parametrize(
    ("harm", "code", "said"),
    [
        ("no manifest", 2, "no whole backup"),
        ("no folder", 2, "no whole backup"),
        ("rubbish manifest", 2, "cannot be used"),
        ("a way out", 2, "outside the folder"),
        ("missing", 1, "is missing"),
        ("shorter", 1, "bytes, not the"),
        ("changed", 1, "SHA-256 differs"),
        ("newer", 2, "newer version"),
    ],
)
def test_what_is_no_whole_backup_changes_nothing(
    lab: TestRoom, capsys: pytest.CaptureFixture[str], harm: str, code: int, said: str
) -> None:
    """2 for what is none, 1 for a damaged one; the data folder stays as it was."""
    assert back_up(lab) == 0
    (made,) = copies(lab.folder)
    manifest, token, database = made / "manifest.json", made / "collector.token", made / "intermolt.db"
    if harm == "newer":
        connection = sqlite3.connect(database)
        connection.execute("INSERT INTO migration VALUES ('9999 what is to come')")
        connection.commit()
        connection.close()
        body, _ = backup_folder.read_manifest(made)
        manifest.unlink()
        rest = {name: value for name, value in body.items() if name not in ("kind", "layout", "files")}
        backup_folder.write_manifest(made, rest, backup_folder.describe(made))
    harms: dict[str, Callable[[], object]] = {
        "no manifest": manifest.unlink,
        "no folder": lambda: made.rename(made.with_name("elsewhere")),
        "rubbish manifest": lambda: manifest.write_bytes(b"\xff{"),
        "a way out": lambda: manifest.write_text(manifest.read_text().replace("collector.token", "../../x")),
        "missing": token.unlink,
        "shorter": lambda: token.write_bytes(b"short"),
        "changed": lambda: token.write_bytes(token.read_bytes().swapcase()),
    }
    if harm in harms:
        harms[harm]()
    lab.close()
    before = {path.name: path.read_bytes() for path in (lab.folder / "data").iterdir()}
    assert main(["restore", str(made), *place(lab.folder)]) == code
    assert said in capsys.readouterr().err
    assert {path.name: path.read_bytes() for path in (lab.folder / "data").iterdir()} == before
    lab.service = lab._open()
