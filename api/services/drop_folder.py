"""The drop folder: a file put there is taken when it stopped growing, by the one kept understanding that fits it.

Where none fits, or several do, it stays and asks on the import page. Must not do: take a file that is still being
written, or delete one.
"""

from __future__ import annotations

import shutil
import time
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

from api.domain.errors import InputError
from api.domain.import_job import OPEN, ImportJob, JobState, Source
from api.services.import_folder import digest_of, given_file
from api.services.import_words import ending, outcome
from api.services.imports import Given, Imports
from api.services.rounds import Rounds

TAKEN, REFUSED = "taken", "refused"
LOOK_EVERY_S, STEADY_S = 2.0, 6.0
"""How often it is looked at, and how long a file must not have grown. [s]"""
EMPTY_S = 60.0
"""An empty file may be one that is about to be written. [s]"""
PERSON = "drop folder"


class Seen(NamedTuple):
    """A file as it was seen, and since when it has not changed."""

    size: int
    mtime_ns: int
    since_s: float


class DropFolder:
    """``drop`` in the data folder, looked at every two seconds."""

    def __init__(
        self, imports: Imports, data: Path, now_ms: Callable[[], int], clock_s: Callable[[], float] = time.monotonic
    ) -> None:
        self._imports, self.path, self._now_ms, self._clock_s = imports, data / "drop", now_ms, clock_s
        self._seen: dict[Path, Seen] = {}
        self.rounds = Rounds("drop folder", self.look, LOOK_EVERY_S, now_ms)

    def look(self) -> None:
        """Take every file that stopped growing."""
        for name in ("", TAKEN, REFUSED):
            (self.path / name).mkdir(parents=True, exist_ok=True, mode=0o700)
        there = [one for one in sorted(self.path.iterdir()) if _is_given(one)]
        self._seen = {path: seen for path, seen in self._seen.items() if path in there}
        self._gone({str(path) for path in there})
        for path in there:
            if self._steady(path) and not self._known(path):
                self._take(path)
            self.rounds.goes_on()

    def over(self, job: ImportJob) -> None:
        """An import ended: its file goes to those taken, or those refused. A cancelled one stays where it is."""
        path = Path(job.file.path)
        if job.source is not Source.DROP or job.state not in (JobState.DONE, JobState.FAILED) or not path.exists():
            return
        words = [ending(job), *(outcome(job) if job.started_ms is not None else [])]
        place = self._put(path, TAKEN if job.state is JobState.DONE else REFUSED, words)
        if job.report_bytes and Path(job.report).exists():
            shutil.copyfile(job.report, place.with_name(f"{place.name}-refused.csv"))

    def _steady(self, path: Path) -> bool:
        try:
            found = path.stat()
        except OSError:
            return False
        seen, now_s = self._seen.get(path), self._clock_s()
        if seen is None or (seen.size, seen.mtime_ns) != (found.st_size, found.st_mtime_ns):
            seen = self._seen[path] = Seen(found.st_size, found.st_mtime_ns, now_s)
        return now_s - seen.since_s >= (STEADY_S if seen.size else EMPTY_S)

    def _known(self, path: Path) -> bool:
        """Whether there is an import of this file as it lies there; one of an older state of it is over."""
        seen = self._seen[path]
        for job in self._imports.jobs(500):
            if job.file.path == str(path):
                if (job.file.size, job.file.mtime_ns) == (seen.size, seen.mtime_ns):
                    return job.state is not JobState.DONE
                if job.state in OPEN:
                    self._imports.cancel(job.id)
        return False

    def _gone(self, there: set[str]) -> None:
        for job in self._imports.jobs(500, OPEN):
            if job.source is Source.DROP and job.file.path not in there:
                self._imports.cancel(job.id)

    def _take(self, path: Path) -> None:
        try:
            file = given_file(path, path.name, digest_of(path), ours=False)
            fitting = [name for name in (one.name for one in self._imports.recipes()) if self._fits(path, name)]
            if len(fitting) == 1:
                job = self._imports.add(file, Given(Source.DROP, PERSON, recipe=fitting[0]))
                self._imports.start(job.id)
            else:
                self._imports.add(file, Given(Source.DROP, PERSON))
        except InputError as error:
            self._put(path, REFUSED, [f"Not taken: {error}", "Nothing of it was kept."])

    def _fits(self, path: Path, recipe: str) -> bool:
        try:
            return self._imports.look(path, {}, recipe).ready
        except InputError:
            return False

    def _put(self, path: Path, folder: str, words: list[str]) -> Path:
        """Move a file, with what became of it beside it; returns its new place."""
        place, number = self.path / folder / path.name, 1
        while place.exists():
            number += 1
            place = self.path / folder / f"{path.stem}-{number}{path.suffix}"
        path.rename(place)
        place.with_name(f"{place.name}.txt").write_text("\n".join([path.name, *words, ""]), encoding="utf-8")
        return place


def _is_given(path: Path) -> bool:
    return not path.name.startswith((".", "~$")) and not path.is_symlink() and path.is_file()
