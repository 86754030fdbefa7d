"""One import from its first row to its last, block by block; each block's readings are kept before it counts as read.

Killed, it goes on with the block it was at, whose kept readings are then found there. Must not do: understand a file
(``api/intake``), or judge a reading.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from statistics import median

import numpy as np

from api.domain.errors import InputError, Transient
from api.domain.import_job import Counts, ImportJob, JobState, Pace
from api.domain.tank import RECORDED, Probe, Value
from api.intake.block import Block, RefusedRow, Series
from api.services.import_folder import ImportFolder
from api.services.import_report import ImportReport
from api.services.keeping import Conflict, Keep, Kept
from api.services.plan import RoomPlan
from api.services.records import Records
from api.storage.base import Store

log = logging.getLogger("intermolt.imports")
Read = Callable[[Path, str, int], Iterator[Block]]
"""A file's blocks, as its recipe says, from a row on."""
Told = Callable[[ImportJob], object]
GoOver = Callable[[ImportJob], bool]
"""Waits until what an import asks to be gone over is gone over; False: it is not yet."""
OVER = "what came late is being checked and judged"
GOES_ON = "when it ended, readings kept beside it were still being checked: some values, flags and alerts come later"
USUAL_S, LEAST_S, MOST_S = 60.0, 0.1, 86_400.0


class ImportRun:
    """Runs imports, one at a time. ``go_over`` ends what late readings ask for, as far as this process does it."""

    def __init__(
        self,
        store: Store,
        records: Records,
        keep: Keep,
        read: Read,
        folder: ImportFolder,
        now_ms: Callable[[], int],
        go_over: GoOver = lambda job: True,
    ) -> None:
        self._store, self._records, self._keep, self._read = store, records, keep, read
        self._folder, self._now_ms, self._go_over = folder, now_ms, go_over

    def run(self, number: int, told: Told = lambda job: None, ends: Callable[[], bool] = lambda: False) -> ImportJob:
        """Import until the file is over, somebody cancels it, or ``ends`` says that this process stops.

        Returns the job as it then is; what was kept stays kept. Raises StoreUnavailable: try the same again later.
        """
        state, words = JobState.DONE, ""
        self._keep.begin(number)
        try:
            job = self._begun(number)
            if job.state is JobState.CANCELLED:  # before its first block
                return job
            with ImportReport(self._folder.report_of(job), job.report_bytes) as report:
                for block in self._read(Path(job.file.path), job.recipe, job.next_row):
                    job = self._block(job, block, report)
                    told(job)
                    if job.stop:
                        state, words = JobState.CANCELLED, "cancelled"
                        break
                    if ends():
                        return job
        except InputError as error:
            state, words = JobState.FAILED, str(error)
        except Transient:
            raise
        except Exception as error:  # a fault of ours would be met again and again
            log.exception("import %d failed", number)
            state, words = JobState.FAILED, f"a fault in Intermolt, which was logged ({type(error).__name__}: {error})"
        job = self._changed(self._job(number), words=words or OVER)
        self._keep.finish(lambda: told(job))
        gone_over = self._go_over(job)
        return self._over(job, state, words or ("" if gone_over else GOES_ON))

    def _job(self, number: int) -> ImportJob:
        job = self._store.imports.job(number)
        if job is None:
            raise InputError(f"there is no import {number}")
        return job

    def _changed(self, job: ImportJob, **fields: object) -> ImportJob:
        self._store.write(lambda: self._store.imports.change(job.id, **fields)).result()
        return self._job(job.id)

    def _begun(self, number: int) -> ImportJob:
        """The job at work.

        Raises InputError when its file is not the one that was understood.
        """
        job, now_ms = self._job(number), self._now_ms()
        _same_file(job)
        pace = Pace(job.pace.share, now_ms, job.pace.share, job.counts.rows, now_ms)
        first = {"started_ms": now_ms, "alerts_after": self._store.imports.newest_alert()}
        report = self._folder.report_of(job)
        self._folder.path.mkdir(parents=True, exist_ok=True, mode=0o700)
        fields: dict[str, object] = {
            "state": JobState.READING, "pace": pace, "words": "", "ended_ms": None, "report": str(report),
            **(first if job.started_ms is None else {}),
        }  # fmt: skip
        self._store.write(lambda: self._take_up(number, fields)).result()
        return self._job(number)

    def _take_up(self, number: int, fields: dict[str, object]) -> None:
        """In the writer, where a cancel comes either before it or after it: what was cancelled stays so."""
        if self._job(number).state is not JobState.CANCELLED:
            self._store.imports.change(number, **fields)

    def _block(self, job: ImportJob, block: Block, report: ImportReport) -> ImportJob:
        """Keep one block, then note that it is kept; what a kill left of it was counted with its readings."""
        self._known(job, block.series)
        before = self._job(job.id).pending
        kept = self._keep.take(block.series, self._now_ms(), lambda taken: self._note(job.id, taken))
        refused = [*block.refused, *kept.refused]
        length = report.add(sorted([*refused, *map(_told, kept.conflicts)], key=lambda row: row.line))
        times = [
            int(end) for one in block.series if one.times_ms.size for end in (one.times_ms.min(), one.times_ms.max())
        ]
        times += [one for one in (job.first_ms, job.last_ms) if one is not None]
        return self._changed(
            job,
            next_row=block.next_row,
            counts=_sum(job.counts, block, kept, len(refused), before),
            pending=0,
            pace=replace(job.pace, share=block.share, now_ms=self._now_ms()),
            report_bytes=length,
            probes=tuple(dict.fromkeys([*job.probes, *(one.probe for one in block.series)])),
            first_ms=min(times, default=None),
            last_ms=max(times, default=None),
        )

    def _note(self, number: int, taken: int) -> None:
        """In the writer: so many readings more of the block at hand are kept."""
        self._store.imports.change(number, pending=self._job(number).pending + taken)

    def _known(self, job: ImportJob, series: tuple[Series, ...]) -> None:
        """Probes that got a tank are put on record before their first reading, as known from files."""
        plan = self._records.plan()
        by_probe: dict[str, list[Series]] = {}
        for one in series:
            by_probe.setdefault(one.probe, []).append(one)
        for probe, own in by_probe.items():
            tank = job.tanks.get(probe)
            made = _probe(plan, probe, tank, own) if tank is not None and tank in plan.tanks else None
            if made is not None and made != plan.probes.get(probe):
                self._records.put_probe(made, self._now_ms())

    def _over(self, job: ImportJob, state: JobState, words: str) -> ImportJob:
        late = self._store.imports.found_late(job.alerts_after, job.probes)
        now_ms = self._now_ms()
        return self._changed(job, state=state, words=words, ended_ms=now_ms, stop=False, found_late=len(late))


def _same_file(job: ImportJob) -> None:
    path = Path(job.file.path)
    try:
        found = path.stat()
    except OSError as error:
        raise InputError(f"{job.file.name} is not there any more ({path}: {error.strerror}); give it again") from error
    if (found.st_size, found.st_mtime_ns) != (job.file.size, job.file.mtime_ns):
        raise InputError(f"{job.file.name} was changed since it was looked at; give it again")


def _probe(plan: RoomPlan, probe: str, tank: str, series: list[Series]) -> Probe | None:
    """A probe that gets a tank, or one known from files that says something new; None for any other."""
    known = plan.probes.get(probe)
    if known is not None and known.tank in plan.tanks and known.live:
        return None
    values = {value.quantity: value for value in known.values} if known is not None else {}
    for one in series:
        values.setdefault(one.quantity, Value(one.quantity, one.unit))
    if known is not None:
        return replace(known, tank=known.tank if known.tank in plan.tanks else tank, values=tuple(values.values()))
    return Probe(probe, RECORDED, tank, _every_s(series), tuple(values.values()))


def _every_s(series: list[Series]) -> float:
    """How often a probe speaks in its first rows. [s]"""
    steps = [np.diff(np.unique(one.times_ms)) for one in series]
    found = [float(np.median(one)) for one in steps if one.size]
    return round(min(MOST_S, max(LEAST_S, median(found) / 1000)), 1) if found else USUAL_S


def _sum(before: Counts, block: Block, kept: Kept, refused: int, earlier: int) -> Counts:
    """``earlier``: readings of the block that were kept before a kill, and are found there now."""
    return Counts(
        before.rows + block.rows,
        before.accepted + kept.accepted + earlier,
        before.duplicate + kept.duplicate - earlier,
        before.conflicts + len(kept.conflicts),
        before.refused + refused,
    )


def _told(one: Conflict) -> RefusedRow:
    kept = f"{one.kept_value:.10g} {one.kept_unit}"
    reason = f"another value is kept for this time already and stays: {kept}"
    return RefusedRow(one.line, f"{one.probe}/{one.quantity}", f"{one.given_value:.10g} {one.given_unit}", reason)
