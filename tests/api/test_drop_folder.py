"""Files put into the drop folder: taken when they are whole and understood, waited for while they are not."""

from __future__ import annotations

import os
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest

from api.domain.import_job import JobState, Source
from api.domain.quantity import Quantity
from api.services.drop_folder import EMPTY_S, STEADY_S, DropFolder
from api.services.import_rounds import ImportRounds
from tests.support.import_files import START, added, text_of, written
from tests.support.rooms import TestRoom, room

ROWS = 40


class Drop:
    """A room with a drop folder on a clock of its own."""

    def __init__(self, lab: TestRoom) -> None:
        self.lab, self.now_s = lab, 0.0
        self.desk = lab.service.imports
        self.folder = DropFolder(self.desk, lab.folder / "data", lambda: lab.now_ms, lambda: self.now_s)
        run, store = lab.service.importing.run, lab.service.store
        self.jobs = ImportRounds(store, self.desk, run, lambda: lab.now_ms, self.folder.over)
        lab.service.importing.alone()
        self.folder.look()

    def wait(self, seconds: float = STEADY_S) -> None:
        """Time passes, with a look before and after, and what waits is imported."""
        self.folder.look()
        self.now_s += seconds
        self.folder.look()
        self.jobs.look()

    def there(self, name: str = "") -> list[str]:
        """Files in a folder."""
        return sorted(one.name for one in (self.folder.path / name).iterdir() if one.is_file())


@pytest.fixture
def drop(tmp_path: Path) -> Iterator[Drop]:
    """One kept understanding, of the invented logger's files."""
    with room(tmp_path) as lab:
        made = Drop(lab)
        job = added(made.desk, written(tmp_path / "first.csv", ROWS, START - timedelta(days=1)))
        made.desk.keep(job.recipe, job.tanks, "shelf", "Noor")
        made.desk.forget_file(job.id)
        yield made


def _kept(drop: Drop) -> int:
    return len(drop.lab.service.store.revisions.rows("logger-1", Quantity.TEMPERATURE, 0, 2**62))


def test_a_whole_file_is_taken(drop: Drop) -> None:
    """By the understanding that fits; it moves to those taken, with words beside it."""
    written(drop.folder.path / "august.csv", ROWS)
    drop.wait()
    assert _kept(drop) == ROWS
    assert (drop.there(), drop.there("taken")) == ([], ["august.csv", "august.csv.txt"])
    words = (drop.folder.path / "taken" / "august.csv.txt").read_text(encoding="utf-8")
    assert f"{2 * ROWS} readings taken" in words


def test_a_file_being_written_is_waited_for(drop: Drop) -> None:
    """As long as it grows, however slowly; then all of it is taken."""
    text, path = text_of(ROWS), drop.folder.path / "slow.csv"
    for share in (1, 2, 3):
        path.write_text(text[: len(text) * share // 4], encoding="utf-8")
        drop.wait(STEADY_S - 0.5)
    assert _kept(drop) == 0
    path.write_text(text, encoding="utf-8")
    drop.wait()
    assert _kept(drop) == ROWS


def test_an_empty_file_may_still_fill(drop: Drop) -> None:
    """It is refused after a minute, not after seconds."""
    (drop.folder.path / "empty.csv").touch()
    drop.wait()
    assert drop.there() == ["empty.csv"]
    drop.wait(EMPTY_S)
    assert (drop.there(), drop.there("refused")) == ([], ["empty.csv", "empty.csv.txt"])
    assert "empty" in (drop.folder.path / "refused" / "empty.csv.txt").read_text(encoding="utf-8")


def test_what_no_understanding_fits_asks(drop: Drop) -> None:
    """It stays where it is and waits on the page; answered and started, it is taken like any other."""
    drop.desk.forget_recipe("shelf")
    path = written(drop.folder.path / "august.csv", ROWS)
    drop.wait()
    drop.wait()
    (job,) = [one for one in drop.desk.jobs() if one.source is Source.DROP]
    assert (job.state, drop.there()) == (JobState.ASKING, ["august.csv"])
    drop.desk.answer(job.id, {"probe": "logger-1"})
    drop.desk.answer(job.id, {"tank:logger-1": "t1"})
    drop.desk.start(job.id)
    drop.jobs.look()
    assert (_kept(drop), path.exists(), drop.there("taken")) == (ROWS, False, ["august.csv", "august.csv.txt"])


def test_two_that_fit_are_not_chosen_from(drop: Drop) -> None:
    """Which of them is right is a keeper's word."""
    kept = drop.desk.recipe("shelf")
    drop.desk.keep(kept.body, {"logger-1": "t2"}, "other shelf", "Noor")
    written(drop.folder.path / "august.csv", ROWS)
    drop.wait()
    (job,) = [one for one in drop.desk.jobs() if one.source is Source.DROP]
    assert (job.state, _kept(drop)) == (JobState.ASKING, 0)


def test_a_file_that_is_no_log_is_refused(drop: Drop) -> None:
    """A photograph with another name; nothing of it is kept, and it is said why."""
    (drop.folder.path / "photo.csv").write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 20)
    drop.wait()
    assert (drop.there(), drop.there("refused")) == ([], ["photo.csv", "photo.csv.txt"])


def test_taken_away_or_changed_while_it_asks(drop: Drop) -> None:
    """The question goes with the file; a changed one is looked at anew."""
    drop.desk.forget_recipe("shelf")
    path = written(drop.folder.path / "august.csv", ROWS)
    drop.wait()
    written(path, ROWS + 5)
    os.utime(path, ns=(1, 1))
    drop.wait()
    states = [job.state for job in drop.desk.jobs() if job.source is Source.DROP]
    assert states == [JobState.ASKING, JobState.CANCELLED]
    path.unlink()
    drop.wait()
    assert {job.state for job in drop.desk.jobs() if job.source is Source.DROP} == {JobState.CANCELLED}


def test_names_already_there_are_not_written_over(drop: Drop) -> None:
    """The same name a second time, links and hidden files."""
    for day in (0, 1):
        written(drop.folder.path / "august.csv", ROWS, START + timedelta(days=day))
        (drop.folder.path / ".hidden.csv").write_text("x", encoding="utf-8")
        drop.wait()
    (drop.folder.path / "link.csv").symlink_to("/etc/hostname")
    drop.wait()
    assert [one for one in drop.there("taken") if one.endswith(".csv")] == ["august-2.csv", "august.csv"]
    assert _kept(drop) == 2 * ROWS
    assert not any(one.file.name == "link.csv" for one in drop.desk.jobs())
