"""Imports as a keeper handles them: a file comes in, is understood, is started, cancelled, gone on with.

Must not do: read a file's rows (``import_run.py``), or delete a file that was not copied here.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from pathlib import Path

from api.domain.errors import InputError, NotFound
from api.domain.import_job import (
    FORGOTTEN,
    OPEN,
    STOPPED,
    UNDER_WAY,
    GivenFile,
    ImportJob,
    JobState,
    KeptRecipe,
    Source,
)
from api.domain.texts import shortened, writable
from api.services.import_folder import ImportFolder
from api.services.import_look import Understood, understand
from api.services.plan import RoomPlan
from api.storage.base import Store

MOST_RECIPE_NAME = 60


@dataclass(frozen=True, slots=True)
class Given:
    """What a keeper says with a file: answers to its questions, and the name of an understanding kept before."""

    source: Source
    person: str = ""
    answers: Mapping[str, str] | None = None
    recipe: str = ""


class Imports:
    """The desk; ``store`` and ``plan`` are asked, nothing of the line is."""

    def __init__(
        self, store: Store, plan: Callable[[], RoomPlan], folder: ImportFolder, now_ms: Callable[[], int]
    ) -> None:
        self._store, self._plan, self.folder, self._now_ms = store, plan, folder, now_ms

    def jobs(self, most: int = 200, states: Collection[JobState] | None = None) -> list[ImportJob]:
        """Imports, all or those in some states, newest first."""
        return self._store.imports.jobs(states, most)

    def job(self, number: int) -> ImportJob:
        """One import.

        Raises NotFound.
        """
        found = self._store.imports.job(number)
        if found is None:
            raise NotFound(f"there is no import {number}")
        return found

    def recipes(self) -> list[KeptRecipe]:
        """Understandings kept by name."""
        return self._store.imports.recipes()

    def recipe(self, name: str) -> KeptRecipe:
        """One of them.

        Raises NotFound.
        """
        for one in self.recipes():
            if one.name == name:
                return one
        known = ", ".join(one.name for one in self.recipes()) or "none is kept yet"
        raise NotFound(f"no understanding is kept as {name[:80]!r}; known: {known}")

    def look(self, path: Path, answers: Mapping[str, str], recipe: str = "") -> Understood:
        """A file as it is understood, by a kept understanding if one is named.

        Raises InputError, NotFound.
        """
        if not recipe:
            return understand(path, answers, self._plan())
        kept = self.recipe(recipe)
        return understand(path, answers, self._plan(), kept.body, kept.tanks)

    def understood(self, job: ImportJob) -> Understood:
        """The file of an import that is not over.

        Raises InputError when it cannot be read any more.
        """
        return self.look(Path(job.file.path), job.answers, job.recipe_name)

    def add(self, file: GivenFile, given: Given) -> ImportJob:
        """Put a file on record; nothing of it is kept before ``start``.

        Raises InputError for a file that cannot be read, or an answer that is none.
        """
        answers = dict(given.answers or {})
        seen = self.look(Path(file.path), answers, given.recipe)
        job = ImportJob(
            0, file, given.source, shortened(given.person, 80), _state(seen), self._now_ms(), answers, seen.recipe,
            given.recipe, seen.tanks,
        )  # fmt: skip
        return self.job(self._store.write(lambda: self._store.imports.open(job)).result())

    def answer(self, number: int, answers: Mapping[str, str]) -> ImportJob:
        """Answer questions; an empty answer takes one back.

        Raises NotFound, InputError for an answer that is none or comes too late.
        """
        job = self._open(number)
        merged = {key: value for key, value in {**job.answers, **answers}.items() if value.strip()}
        seen = self.look(Path(job.file.path), merged, job.recipe_name)
        return self._change(job, answers=merged, recipe=seen.recipe, tanks=seen.tanks, state=_state(seen))

    def use(self, number: int, recipe: str) -> ImportJob:
        """Read the file by an understanding kept before; empty: by none.

        Raises NotFound, InputError.
        """
        job = self._open(number)
        seen = self.look(Path(job.file.path), job.answers, recipe)
        return self._change(job, recipe_name=recipe, recipe=seen.recipe, tanks=seen.tanks, state=_state(seen))

    def keep(self, recipe: str, tanks: Mapping[str, str], name: str, person: str) -> None:
        """Keep an understanding under a name.

        Raises InputError while a question is open, or for a name that cannot be written.
        """
        plain = shortened(name, MOST_RECIPE_NAME)
        writable("the name", plain)
        if not plain:
            raise InputError("give the understanding a name")
        if not recipe:
            raise InputError("answer what is asked first; an understanding with open questions cannot be kept")
        kept = KeptRecipe(plain, recipe, dict(tanks), shortened(person, 80), self._now_ms())
        self._store.write(lambda: self._store.imports.keep_recipe(kept)).result()

    def forget_recipe(self, name: str) -> None:
        """Forget an understanding.

        Raises NotFound.
        """
        kept = self.recipe(name)
        self._store.write(lambda: self._store.imports.drop_recipe(kept.name)).result()

    def start(self, number: int) -> ImportJob:
        """Let it be read as it is understood, or go on where it was stopped.

        Raises NotFound, InputError while a question is open.
        """
        job = self.job(number)
        if job.state in UNDER_WAY:
            return job
        if job.state is JobState.DONE:
            raise InputError(f"import {number} is done; give the file again to look for what is new in it")
        if job.state in OPEN:
            seen = self.look(Path(job.file.path), job.answers, job.recipe_name)
            job = self._change(job, recipe=seen.recipe, tanks=seen.tanks, state=_state(seen))
        elif not job.recipe:  # it was stopped while a question was open: it is asked again
            seen = self.look(Path(job.file.path), job.answers, job.recipe_name)
            job = self._change(job, recipe=seen.recipe, tanks=seen.tanks, state=_state(seen), words="", ended_ms=None)
        if not job.recipe:
            raise InputError(f"import {number}: answer what is asked first")
        return self._change(job, state=JobState.WAITING, stop=False, words="", ended_ms=None)

    def cancel(self, number: int) -> ImportJob:
        """Stop it; what is kept stays kept.

        Raises NotFound.
        """
        return self._store.write(lambda: self._cancelled(self.job(number))).result()

    def _cancelled(self, job: ImportJob) -> ImportJob:
        if job.state is JobState.READING:
            self._store.imports.change(job.id, stop=True)
        elif job.state not in STOPPED and job.state is not JobState.DONE:
            change = {"state": JobState.CANCELLED, "ended_ms": self._now_ms(), "words": "cancelled"}
            self._store.imports.change(job.id, **change)
        return self.job(job.id)

    def forget_file(self, number: int) -> ImportJob:
        """Delete our copy of the file of an import that is over or was never begun.

        Raises NotFound, InputError while it is read.
        """
        job = self.job(number)
        if job.state in UNDER_WAY:
            raise InputError(f"import {number} is under way; cancel it first")
        if job.state is not JobState.DONE:
            job = self._change(job, state=JobState.CANCELLED, words=FORGOTTEN, ended_ms=self._now_ms())
        self.clear(job)
        return job

    def clear(self, job: ImportJob) -> None:
        """Delete the copy of a file, unless another import needs it."""
        self.discard(job.file, but=job.id)

    def discard(self, file: GivenFile, but: int = 0) -> None:
        """Delete our copy of a file that no import needs any more."""
        needed = [one for one in self._store.imports.jobs([*OPEN, *UNDER_WAY, *STOPPED]) if one.id != but]
        if file.ours and file.path not in {one.file.path for one in needed}:
            self.folder.remove(Path(file.path))

    def _open(self, number: int) -> ImportJob:
        job = self.job(number)
        if job.state not in OPEN:
            raise InputError(f"import {number} was started; cancel it, and give the file again to answer otherwise")
        return job

    def _change(self, job: ImportJob, **fields: object) -> ImportJob:
        self._store.write(lambda: self._store.imports.change(job.id, **fields)).result()
        return self.job(job.id)


def _state(seen: Understood) -> JobState:
    return JobState.READY if seen.ready else JobState.ASKING
