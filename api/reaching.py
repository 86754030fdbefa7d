"""What reaches people, put together: ladder, test messages, links and their answers. Must not do: anything else."""

from __future__ import annotations

import logging
from collections.abc import Callable
from pathlib import Path

from api.notify.apprise_adapter import usable
from api.services.answering import Answering
from api.services.daily_test import DailyTest
from api.services.ingest import Ingest
from api.services.links import Links
from api.services.people import People
from api.services.people_edit import PeopleEdit
from api.services.plan import RoomPlan
from api.services.reach import Reach
from api.services.records import Records
from api.services.rota_week import RotaWeek
from api.services.telling import Telling
from api.storage.base import Store
from api.told_file import leave_told

log = logging.getLogger("intermolt.reaching")


class Reaching:
    """``reach`` goes its rounds; ``answering`` and ``people`` are asked by the pages."""

    def __init__(
        self,
        store: Store,
        ingest: Ingest,
        plan: Callable[[], RoomPlan],
        records: Records,
        links: Links,
        now_ms: Callable[[], int],
        folder: Path,
    ) -> None:
        tests = DailyTest(store, ingest, plan)
        self.people = People(store, plan, tests)
        self._records, self._folder, self.rota = records, folder, RotaWeek(plan)
        self.edit = PeopleEdit(store, plan, self._changed, usable, now_ms)
        leave_told(folder, plan())
        self.answering = Answering(store, ingest, plan, records, links)
        self.reach = Reach(store, ingest, plan, Telling(store, plan, links, ingest.judging.outlooks), tests, now_ms)
        self.rounds = {"reach": self.reach.rounds}

    def _changed(self) -> None:
        """People were changed: the plan and what the collector knows follow."""
        self._records.reload()
        try:
            leave_told(self._folder, self._records.plan())
        except OSError as error:
            log.error("the collector's second voice does not know of the change: %s", error)
