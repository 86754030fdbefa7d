"""Where the import command works: in the service that runs on the data folder, or by itself when none does.

Must not do: read a file's rows, or work beside a service on the same folder.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Protocol

from api.app import now_ms
from api.domain.errors import InputError
from api.domain.import_job import UNDER_WAY, GivenFile, ImportJob
from api.folder_lock import held
from api.kept_store import kept_store
from api.notify.apprise_adapter import AppriseNotifier
from api.service import DATABASE, Service
from api.services.import_folder import ImportFolder, given_file
from api.services.imports import Imports
from api.services.records import Records
from api.settings import Settings
from api.storage.base import Store

POLL_S = 0.25
SILENT_S = 30.0
Told = Callable[[ImportJob], object]


class ImportSite(Protocol):
    """A place to import at."""

    store: Store
    desk: Imports

    def placed(self, path: Path, before: GivenFile | None, digest: str) -> GivenFile:
        """The file where it can be read from; ``before`` is what was read of it so far."""

    def finish(self, number: int, told: Told) -> ImportJob:
        """Until it is over; ``told`` gets the job as it goes on."""


@contextmanager
def open_site(mine: Settings) -> Iterator[ImportSite]:
    """The place of a data folder.

    Raises InputError when there is neither a data folder nor a room file that says what tanks there are.
    """
    if held(mine.data):
        with kept_store(mine.data) as store:
            yield Beside(store, mine.data)
        return
    if not (mine.data / DATABASE).exists() and not mine.room.exists():
        raise InputError(
            f"there is no {mine.room} and no {mine.data / DATABASE}: a room file says which tanks there are;"
            " name it with --room, or the folder with --data"
        )
    service = Service(mine.room, mine.data, AppriseNotifier(), now_ms)
    with closing(_Unstarted(service)):
        yield Alone(service)


class _Unstarted:
    """A service whose rounds never began."""

    def __init__(self, service: Service) -> None:
        self._service = service

    def close(self) -> None:
        """Let go of the data folder."""
        self._service.store.close()
        self._service.release()


class Alone:
    """No service runs: this process keeps and judges, and a service that is started meanwhile is told to wait."""

    def __init__(self, service: Service) -> None:
        self._importing = service.importing
        self._importing.alone()
        self.store: Store = service.store
        self.desk = service.imports

    def placed(self, path: Path, before: GivenFile | None, digest: str) -> GivenFile:
        """The file where it is."""
        return given_file(path.resolve(), path.name, digest, ours=False)

    def finish(self, number: int, told: Told) -> ImportJob:
        """Import it here."""
        job = self._importing.run.run(number, told)
        self._importing.jobs.settle(job)
        return job


class Beside:
    """A service runs: it reads a copy of the file in its data folder, and this process looks on."""

    def __init__(self, store: Store, data: Path) -> None:
        self.store = store
        self._folder = ImportFolder(data)
        self.desk = Imports(store, Records(store).plan, self._folder, now_ms)

    def placed(self, path: Path, before: GivenFile | None, digest: str) -> GivenFile:
        """A copy in the data folder; the one that is there already, where it is."""
        if before is not None and before.ours and Path(before.path).exists():
            return before
        return self._folder.copy(path)

    def finish(self, number: int, told: Told) -> ImportJob:
        """Look on until the service is done with it."""
        heard_s, last = time.monotonic(), self.desk.job(number)
        while (job := self.desk.job(number)).state in UNDER_WAY:
            told(job)
            if job != last:
                heard_s, last = time.monotonic(), job
            elif time.monotonic() - heard_s > SILENT_S and not held(self._folder.path.parent):
                raise InputError(
                    f"the service ended; import {number} goes on by itself when it runs again, or with this command"
                )
            time.sleep(POLL_S)
        return job
