"""What takes the past in, put together: desk, run, drop folder, going over late readings. Must not do: more."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from pathlib import Path

from api.domain.import_job import ImportJob
from api.domain.quantity import Quantity
from api.intake.block import Block
from api.intake.blocks import blocks
from api.intake.fuller import fuller
from api.intake.recipe import Recipe
from api.services.again import Again
from api.services.drop_folder import DropFolder
from api.services.import_folder import ImportFolder
from api.services.import_rounds import ImportRounds
from api.services.import_run import ImportRun
from api.services.imports import Imports
from api.services.ingest import Ingest
from api.services.keep_past import KeepPast
from api.services.plan import RoomPlan
from api.services.records import Records
from api.services.rounds import Rounds
from api.storage.base import Store

WAIT_S, PATIENCE_S = 0.5, 900.0


class Importing:
    """``desk`` is what pages and routes ask, ``run`` does one import, ``drop`` is the drop folder, ``keep`` keeps a
    file's readings."""

    def __init__(self, store: Store, data: Path, records: Records, ingest: Ingest, now_ms: Callable[[], int]) -> None:
        folder = ImportFolder(data)
        self._store, self.again = store, Again(store, ingest, records.plan, now_ms)
        self.desk = Imports(store, records.plan, folder, now_ms)
        self.keep = KeepPast(store, ingest, records.plan, now_ms)
        self.run = ImportRun(store, records, self.keep, read, folder, now_ms, self._wait)
        self.drop = DropFolder(self.desk, data, now_ms)
        self.jobs = ImportRounds(store, self.desk, self.run, now_ms, self.drop.over)
        self._alone, self._plan = False, records.plan

    @property
    def rounds(self) -> dict[str, Rounds]:
        """What goes its rounds."""
        return {"imports": self.jobs.rounds, "drop folder": self.drop.rounds}

    def alone(self) -> None:
        """No service runs: what has to be gone over is done by whoever imports."""
        self._alone = True

    def _wait(self, job: ImportJob) -> bool:
        """Until all that an import asks for is gone over: True; a long wait ends, the work goes on by itself."""
        end_s = time.monotonic() + PATIENCE_S
        beside = _beside(job, self._plan())
        while any(span.probe in beside for span in self._store.revisions.waiting()):
            if time.monotonic() > end_s or self.jobs.rounds.ending:
                return False
            if self._alone:
                self.again.look(at_once=True)
            else:
                time.sleep(WAIT_S)
                self.jobs.rounds.goes_on()
        return True


def _beside(job: ImportJob, plan: RoomPlan) -> set[str]:
    """Probes whose kept readings an import may change: its own, those of their tanks, with station pressure all."""
    if any(plan.measures(probe, Quantity.PRESSURE) for probe in job.probes):
        return {*plan.probes, *job.probes}
    tanks = {plan.probes[probe].tank for probe in job.probes if probe in plan.probes} - {None}
    return {*job.probes, *(one.id for one in plan.probes.values() if one.tank in tanks)}


def read(path: Path, recipe: str, start_row: int) -> Iterator[Block]:
    """A file's blocks by its recipe, from a row on, each with enough of every probe."""
    return fuller(blocks(path, Recipe.from_json(recipe), start_row))
