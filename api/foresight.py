"""What looks ahead, put together: forecasts, air tests, grace time, changes. Must not do: anything else."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from api.domain.outlook import Outlook
from api.domain.quantity import Quantity
from api.services.air_tests import AirTests
from api.services.ammonia_follow import AmmoniaFollow
from api.services.changes import Changes
from api.services.grace import Graces
from api.services.ingest import Ingest
from api.services.plan import RoomPlan
from api.services.rounds import Rounds
from api.services.warn import Warn
from api.storage.base import Store

FOLLOW_EVERY_S = 30.0


class Foresight:
    """``tests`` are begun and ended by the pages, ``grace`` is asked by them; ``ahead`` answers for one channel."""

    def __init__(
        self,
        store: Store,
        plan: Callable[[], RoomPlan],
        ingest: Ingest,
        warn: Warn,
        now_ms: Callable[[], int],
        put_ammonia: Callable[[Mapping[str, tuple[float, float]]], None],
    ) -> None:
        self._plan, self._ingest = plan, ingest
        self.tests = AirTests(store, plan, ingest.judging, warn, now_ms)
        self.grace = Graces(store, plan, now_ms)
        self.changes = Changes(store, ingest, plan, now_ms)
        self.ammonia = AmmoniaFollow(store, plan, put_ammonia, now_ms)
        self.follows = Rounds("limits that follow the water", self.ammonia.look, FOLLOW_EVERY_S, now_ms)
        self.rounds = {"air tests": self.tests.rounds, "changes": self.changes.rounds, "limits": self.follows}

    def ahead(self, probe: str, quantity: Quantity) -> Outlook:
        """Where one channel is heading."""
        return self._ingest.judging.outlooks.outlook(self._plan().channel(probe, quantity), probe, quantity)
