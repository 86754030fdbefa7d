"""``intermolt import``: looks first, keeps nothing while something is open, says what became of every row."""

from __future__ import annotations

import os
import signal
from pathlib import Path

import pytest

from api.cli import main
from api.domain.import_job import ImportJob, JobState
from api.domain.quantity import Quantity
from api.services.import_run import ImportRun, Told
from tests.support.import_files import ANSWERS, text_of, written
from tests.support.rooms import ROOM, room

ROWS = 40


class Shell:
    """A folder with a room and a file, and the command."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        (folder / "room.toml").write_text(ROOM, encoding="utf-8")
        self.file = written(folder / "august.csv", ROWS)

    def run(self, *options: str, answers: dict[str, str] | None = None, file: Path | None = None) -> int:
        """The command; its exit code."""
        given = ANSWERS if answers is None else answers
        said = [part for key, value in given.items() if key != "zone" for part in ("--answer", f"{key}={value}")]
        place = ["--room", str(self.folder / "room.toml"), "--data", str(self.folder / "data")]
        return main(["import", str(file or self.file), *place, *said, *options])

    def kept(self) -> int:
        """Temperatures of the invented logger."""
        with room(self.folder) as one:
            return len(one.service.store.revisions.rows("logger-1", Quantity.TEMPERATURE, 0, 2**62))

    def jobs(self) -> list[ImportJob]:
        """Imports, newest first."""
        with room(self.folder) as one:
            return one.service.imports.jobs()


@pytest.fixture
def shell(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Shell:
    """Nobody sits at the terminal."""
    monkeypatch.setattr("sys.stdin.isatty", lambda: False)
    return Shell(tmp_path)


def test_questions_first(shell: Shell, capsys: pytest.CaptureFixture[str]) -> None:
    """Shown with the option that answers each; nothing is kept."""
    assert shell.run(answers={}) == 1
    out = capsys.readouterr().out
    assert "--answer probe=" in out
    assert "temperature (Cel)" in out
    assert shell.run(answers={"probe": "logger-1"}) == 1
    assert "--answer tank:logger-1=t2" in capsys.readouterr().out
    assert shell.jobs() == []
    assert shell.kept() == 0


def test_dry_run_reads_all_and_keeps_nothing(shell: Shell, capsys: pytest.CaptureFixture[str]) -> None:
    """0 when all would be taken, 1 when something would not."""
    assert shell.run("--dry-run") == 0
    assert f"{2 * ROWS} readings in {ROWS} rows; 0 cells" in capsys.readouterr().out
    shell.file.write_text(text_of(ROWS) + "2026-08-02T00:00:00Z,warm,8.0\n", encoding="utf-8")
    assert shell.run("--dry-run") == 1
    out = capsys.readouterr().out
    assert f"line {ROWS + 2}, temperature (Cel)" in out
    assert "Nothing was kept." in out
    assert (shell.jobs(), shell.kept()) == ([], 0)


def test_taken_once_and_again(shell: Shell, capsys: pytest.CaptureFixture[str]) -> None:
    """The second time everything is there already; another value for a kept time is told and listed."""
    assert shell.run() == 0
    assert f"{2 * ROWS} readings taken, of {ROWS} rows" in capsys.readouterr().out
    assert shell.run() == 0
    assert f"{2 * ROWS} readings there already" in capsys.readouterr().out
    written(shell.file, ROWS, warmer_c=0.5)
    assert shell.run() == 1
    out = capsys.readouterr().out
    assert f"{ROWS} readings with another value" in out
    assert "august-refused.csv" in out
    assert shell.kept() == ROWS


def test_a_kept_understanding(shell: Shell, capsys: pytest.CaptureFixture[str]) -> None:
    """Kept by one call, used by the next for another file."""
    assert shell.run("--dry-run", "--keep-recipe", "shelf") == 0
    assert shell.run("--recipe", "shelf", answers={}) == 0
    assert shell.kept() == ROWS
    assert shell.run("--recipe", "shed", answers={}) == 2
    assert "known: shelf" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("content", "answers", "words"),
    [
        (b"", {}, "empty"),
        (b"time,temperature (Cel)\n", {}, "august.csv"),
        (b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 9, {}, "august.csv"),
        (None, {"tank:logger-1": "t9", "probe": "logger-1"}, "there is no tank 't9'; known: t1, t2"),
        (None, {"probe": "a/b"}, "cannot be a probe's name"),
        (None, {"colour": "red"}, "colour"),
        (None, {"": "x"}, "KEY=VALUE"),
    ],
)
def test_what_cannot_be_used(
    shell: Shell, capsys: pytest.CaptureFixture[str], content: bytes | None, answers: dict[str, str], words: str
) -> None:
    """2, and why; nothing is kept."""
    if content is not None:
        shell.file.write_bytes(content)
    assert shell.run(answers=answers) == 2
    assert words in capsys.readouterr().err
    assert shell.jobs() == []


def test_files_that_are_none(shell: Shell, capsys: pytest.CaptureFixture[str]) -> None:
    """A name that is not there, a folder."""
    assert shell.run(file=shell.folder / "nothing.csv") == 2
    assert shell.run(file=shell.folder) == 2
    err = capsys.readouterr().err
    assert "there is no file" in err
    assert "is no file" in err


def test_asked_at_a_terminal(shell: Shell, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is typed answers; an empty line takes what is suggested."""
    said = iter(["logger-1", "t9", "t2"])
    monkeypatch.setattr("sys.stdin.isatty", lambda: True)
    monkeypatch.setattr("builtins.input", lambda prompt: next(said))
    assert shell.run(answers={}) == 0
    assert next(said, None) is None
    with room(shell.folder) as one:
        assert one.service.plan().probes["logger-1"].tank == "t2"


def test_cancelled_with_ctrl_c(
    shell: Shell, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """It ends after the block it is at, says what stays, and the same command goes on."""
    whole = ImportRun.run

    def interrupted(self: ImportRun, number: int, told: Told = lambda job: None) -> ImportJob:
        os.kill(os.getpid(), signal.SIGINT)
        return whole(self, number, told)

    monkeypatch.setattr(ImportRun, "run", interrupted)
    assert shell.run() == 1
    said = capsys.readouterr()
    assert "cancelling; what is kept stays kept" in said.err
    assert "the same command goes on where it stopped" in said.out
    assert [job.state for job in shell.jobs()] == [JobState.CANCELLED]
    monkeypatch.undo()
    assert shell.run() == 0
    assert "goes on after" in capsys.readouterr().out
    assert shell.kept() == ROWS
    assert [job.state for job in shell.jobs()] == [JobState.DONE]


def test_alone_holds_the_lock(shell: Shell, capsys: pytest.CaptureFixture[str]) -> None:
    """While a service works on the folder the command hands the file to it and does not open the line beside it."""
    shell.run("--dry-run")
    with room(shell.folder) as one:
        one.service.importing.jobs.rounds.start()
        assert shell.run() == 0
        one.service.importing.jobs.rounds.stop()
        (job,) = one.service.imports.jobs()
        assert (job.file.ours, job.state) == (True, JobState.DONE)
        assert not Path(job.file.path).exists()
    assert shell.file.exists()
    assert shell.kept() == ROWS
