"""An import in words: how far it is, how fast, how long still, and what became of its rows. Must not do: round up."""

from __future__ import annotations

from api.domain.import_job import FORGOTTEN, ImportJob, JobState
from api.domain.words import duration
from api.science.unit_table import TABLE

LEAST_MS = 1_000
STATE_WORDS = {
    JobState.ASKING: "asks something",
    JobState.READY: "understood, not started",
    JobState.WAITING: "waits for its turn",
    JobState.READING: "is being read",
    JobState.DONE: "done",
    JobState.CANCELLED: "cancelled",
    JobState.FAILED: "stopped",
}


UNIT_LABELS = {unit.code: unit.label for units in TABLE.values() for unit in units}


def unit_words(code: str) -> str:
    """A unit as people write it; what no table holds stays as it is."""
    return UNIT_LABELS.get(code, code)


def rows_per_s(job: ImportJob) -> float | None:
    """Rows gone through a second since this run began; None before that can be told. [1/s]"""
    took_ms = job.pace.now_ms - job.pace.from_ms
    rows = job.counts.rows - job.pace.from_rows
    return 1000 * rows / took_ms if took_ms >= LEAST_MS and rows > 0 else None


def left_s(job: ImportJob) -> float | None:
    """How long the rest will take at this run's pace; None before that can be told. [s]"""
    took_ms, read = job.pace.now_ms - job.pace.from_ms, job.pace.share - job.pace.from_share
    if job.state is not JobState.READING or took_ms < LEAST_MS or read <= 0:
        return None
    return (1.0 - job.pace.share) / read * took_ms / 1000


def progress(job: ImportJob) -> str:
    """How far a file is read: share, rows, rate, time left."""
    rate, left = rows_per_s(job), left_s(job)
    parts = [f"{100 * job.pace.share:.0f} % of the file", f"{job.counts.rows:,} rows".replace(",", " ")]
    if rate is not None and job.state is JobState.READING:
        parts.append(f"{rate:,.0f} rows a second".replace(",", " "))
    if left is not None:
        parts.append(f"{duration(left)} left" if left >= 1 else job.words or "nearly done")
    return ", ".join(parts)


def outcome(job: ImportJob) -> list[str]:
    """What became of the readings, a line each; what is none is left out, but for the first."""
    count = job.counts
    lines = [f"{_many(count.accepted, 'reading')} taken, of {_many(count.rows, 'row')}"]
    if count.duplicate:
        lines.append(f"{_many(count.duplicate, 'reading')} there already, with the same value")
    if count.conflicts:
        lines.append(
            f"{_many(count.conflicts, 'reading')} with another value than is kept for that time: what came first stays"
        )
    if count.refused:
        lines.append(f"{_many(count.refused, 'cell or row', 'cells or rows')} not taken")
    if job.found_late:
        lines.append(f"{_many(job.found_late, 'alert')} found late: it was so then, nobody was called")
    return lines


def ending(job: ImportJob) -> str:
    """How an import ended, in one sentence."""
    if job.state is JobState.DONE:
        return f"Imported; {job.words}." if job.words else "Imported."
    kept = "nothing of it was kept"
    if job.counts.accepted:
        kept = f"what was taken until then stays ({_many(job.counts.accepted, 'reading')})"
    if job.words == FORGOTTEN:
        return f"Not imported: the copy of its file is deleted; {kept}."
    if job.state is JobState.CANCELLED:
        return f"Cancelled; {kept}."
    if job.state is JobState.FAILED:
        return f"Stopped: {job.words}; {kept}."
    return f"It {STATE_WORDS[job.state]}."


def _many(number: int, one: str, more: str = "") -> str:
    return f"{number:,} {one if number == 1 else more or one + 's'}".replace(",", " ")
