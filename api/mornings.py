"""The morning report, put together: made, shown, sent. Must not do: anything else."""

from __future__ import annotations

from collections.abc import Callable

from api.services.lives import Lives
from api.services.molts import Molts
from api.services.morning import Mornings
from api.services.morning_log import MorningLog
from api.services.morning_post import MorningPost
from api.services.plan import RoomPlan
from api.services.soft_guard import SoftGuard
from api.storage.base import Store


class Morning:
    """``reports`` is asked by the page, ``post`` goes its rounds."""

    def __init__(
        self,
        store: Store,
        plan: Callable[[], RoomPlan],
        lives: Lives,
        guard: SoftGuard,
        molts: Molts,
        now_ms: Callable[[], int],
    ) -> None:
        self.reports = Mornings(store, plan, MorningLog(store, plan, lives, guard, molts))
        self.post = MorningPost(store, plan, self.reports, now_ms)
        self.rounds = {"morning report": self.post.rounds}
