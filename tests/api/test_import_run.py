"""An import's rows are kept once, whatever happens on the way: cancelled, killed, taken twice."""

from __future__ import annotations

import csv
from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest

from api.domain.import_job import Counts, ImportJob, JobState
from api.domain.quantity import Quantity
from api.domain.tank import RECORDED
from api.intake.block import Series
from api.service import Service
from api.services.import_folder import ImportFolder
from api.services.import_run import ImportRun
from api.services.keep_past import KeepPast
from api.services.keeping import Keep, Kept, Note, no_note
from api.services.records import Records
from tests.support.import_blocks import START_MS, Blocks, cut, job_of, minutes
from tests.support.rooms import TestRoom, room

ROWS = 300


@pytest.fixture
def lab(tmp_path: Path) -> Iterator[TestRoom]:
    """Two tanks."""
    with room(tmp_path) as one:
        yield one


class Failing:
    """Keeps a number of blocks, then the power goes, after it was kept but before that was noted."""

    def __init__(self, keep: Keep, good: int) -> None:
        self._keep, self._good = keep, good
        self.begin, self.finish = keep.begin, keep.finish

    def take(self, series: Sequence[Series], now_ms: int, note: Note = no_note) -> Kept:
        """Keep them, or fall over afterwards."""
        kept = self._keep.take(series, now_ms, note)
        self._good -= 1
        if self._good < 0:
            raise KeyboardInterrupt
        return kept


def _run(lab: TestRoom, blocks: Blocks, keep: Keep | None = None) -> ImportRun:
    service: Service = lab.service
    records = Records(service.store)
    service.ingest._plan = records.plan
    keep = keep or KeepPast(service.store, service.ingest, records.plan, lambda: lab.now_ms)
    return ImportRun(service.store, records, keep, blocks, ImportFolder(lab.folder / "data"), lambda: lab.now_ms)


def _job(lab: TestRoom) -> int:
    path = lab.folder / "logger.csv"
    path.write_text("invented\n", encoding="utf-8")
    imports = lab.service.store.imports
    return lab.service.store.write(lambda: imports.open(job_of(path, {"logger-1": "t1"}))).result()


def _kept(lab: TestRoom, quantity: Quantity = Quantity.TEMPERATURE) -> int:
    return len(lab.service.store.revisions.rows("logger-1", quantity, 0, 2**62))


def _report(job: ImportJob) -> list[dict[str, str]]:
    with Path(job.report).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_every_row_is_told(lab: TestRoom) -> None:
    """Rows, readings, refused cells, span and the file of what was not taken."""
    job = _run(lab, Blocks(cut(minutes(ROWS), 100))).run(_job(lab))
    assert job.state is JobState.DONE
    assert job.counts == Counts(ROWS, 2 * ROWS - 1, 0, 0, 1)
    assert (job.first_ms, job.last_ms) == (START_MS, START_MS + (ROWS - 1) * 60_000)
    assert (job.pace.share, job.probes) == (1.0, ("logger-1",))
    assert _report(job) == [{"line": "4", "column": "oxygen", "reason": "this is no number", "text": "'=1+1"}]


def test_taken_twice_changes_nothing(lab: TestRoom) -> None:
    """Everything is there already."""
    blocks = Blocks(cut(minutes(ROWS), 100))
    _run(lab, blocks).run(_job(lab))
    again = _run(lab, blocks).run(_job(lab))
    assert again.counts == Counts(ROWS, 0, 2 * ROWS - 1, 0, 1)
    assert (_kept(lab), _kept(lab, Quantity.OXYGEN)) == (ROWS, ROWS - 1)


def test_another_value_for_a_kept_time_is_listed(lab: TestRoom) -> None:
    """First come stays; the other is in the file, with its line."""
    _run(lab, Blocks(cut(minutes(ROWS), 100))).run(_job(lab))
    other = minutes(ROWS)
    other.series[0].values[9] += 1.0
    job = _run(lab, Blocks([other])).run(_job(lab))
    assert (job.counts.accepted, job.counts.conflicts) == (0, 1)
    told = _report(job)[-1]
    assert (told["line"], told["column"]) == ("11", "logger-1/temperature")
    assert "stays" in told["reason"]


def test_after_a_kill_it_goes_on_where_it_was(lab: TestRoom) -> None:
    """The block that was kept but not noted is gone through again and doubles nothing, in the file neither."""
    blocks = Blocks(cut(minutes(ROWS), 50))
    number = _job(lab)
    service = lab.service
    keep = KeepPast(service.store, service.ingest, service.plan, lambda: lab.now_ms)
    with pytest.raises(KeyboardInterrupt):
        _run(lab, blocks, Failing(keep, 3)).run(number)
    before = lab.service.store.imports.job(number)
    assert before is not None
    assert (before.state, before.next_row) == (JobState.READING, 150)
    lab.restart()
    job = _run(lab, blocks).run(number)
    assert blocks.asked == [0, 150]
    assert job.state is JobState.DONE
    assert (job.counts.rows, job.counts.refused, len(_report(job))) == (ROWS, 1, 1)
    assert (job.counts.accepted, job.counts.duplicate, job.pending) == (2 * ROWS - 1, 0, 0)
    assert (_kept(lab), _kept(lab, Quantity.OXYGEN)) == (ROWS, ROWS - 1)


def test_cancelled_and_gone_on(lab: TestRoom) -> None:
    """What is kept stays kept; the rest comes when it goes on."""
    blocks, number = Blocks(cut(minutes(ROWS), 50)), _job(lab)
    store = lab.service.store

    def stop(job: ImportJob) -> None:
        if job.next_row == 100:
            store.write(lambda: store.imports.change(number, stop=True)).result()

    job = _run(lab, blocks).run(number, stop)
    assert (job.state, job.next_row, _kept(lab)) == (JobState.CANCELLED, 150, 150)
    assert _run(lab, blocks).run(number) == job, "nobody has started it again"
    store.write(lambda: store.imports.change(number, state=JobState.WAITING)).result()
    job = _run(lab, blocks).run(number)
    assert (job.state, job.counts) == (JobState.DONE, Counts(ROWS, 2 * ROWS - 1, 0, 0, 1))


def test_a_file_that_changed_is_not_read_on(lab: TestRoom) -> None:
    """Its rows may be others now."""
    number = _job(lab)
    (lab.folder / "logger.csv").write_text("something else\n", encoding="utf-8")
    job = _run(lab, Blocks(cut(minutes(ROWS), 50))).run(number)
    assert job.state is JobState.FAILED
    assert "was changed" in job.words


def test_a_probe_known_from_files_is_not_waited_for(lab: TestRoom) -> None:
    """It has its tank, and its silence is no alert, on no page."""
    _run(lab, Blocks([minutes(ROWS)])).run(_job(lab))
    lab.restart()
    probe = lab.service.plan().probes["logger-1"]
    assert (probe.driver, probe.tank, probe.every_s) == (RECORDED, "t1", 60.0)
    lab.now_ms += 86_400_000
    lab.service.watch.look()
    quiet = {alert.probe for alert in lab.service.read.alerts(None) if alert.kind == "quiet_probe"}
    assert "logger-1" not in quiet
    shown = {latest.probe for latest in lab.service.read.tank("t1", lab.now_ms).latest}
    assert "logger-1" not in shown
    assert Quantity.OXYGEN in lab.service.read.quantities("t1")
