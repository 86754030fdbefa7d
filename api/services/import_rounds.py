"""Imports done in the service, one at a time, in a thread of their own. Must not do: hold up what is live."""

from __future__ import annotations

import logging
from collections.abc import Callable

from api.domain.import_job import UNDER_WAY, ImportJob, JobState
from api.services.import_run import ImportRun
from api.services.imports import Imports
from api.services.rounds import Rounds
from api.storage.base import Store

log = logging.getLogger("intermolt.imports")
LOOK_EVERY_S = 1.0


class ImportRounds:
    """Looks every second for a file that waits, or one that was being read when the service ended."""

    def __init__(
        self,
        store: Store,
        imports: Imports,
        run: ImportRun,
        now_ms: Callable[[], int],
        over: Callable[[ImportJob], object],
    ) -> None:
        self._store, self._imports, self._run, self._over = store, imports, run, over
        self.rounds = Rounds("imports", self.look, LOOK_EVERY_S, now_ms)

    def look(self) -> None:
        """Import everything that waits."""
        while (job := self._next()) is not None and not self.rounds.ending:
            done = self._run.run(job.id, lambda _: self.rounds.goes_on(), lambda: self.rounds.ending)
            if done.state in UNDER_WAY:
                return
            self.settle(done)

    def settle(self, job: ImportJob) -> None:
        """What is done about a file after its import ended."""
        log.info("import %d of %s: %s, %d readings taken", job.id, job.file.name, job.state, job.counts.accepted)
        self._over(job)
        if job.state is JobState.DONE:
            self._imports.clear(job)

    def _next(self) -> ImportJob | None:
        jobs = self._store.imports.jobs(UNDER_WAY)
        return min(jobs, key=lambda job: (job.state is not JobState.READING, job.id), default=None)
