"""What lets alerts rest, put together. Must not do: anything else."""

from __future__ import annotations

from collections.abc import Callable

from api.services.ingest import Ingest
from api.services.plan import RoomPlan
from api.services.rested import Rested
from api.services.resting import Resting
from api.services.warn import Warn
from api.storage.base import Store


def resting(
    store: Store, ingest: Ingest, plan: Callable[[], RoomPlan], warn: Warn, now_ms: Callable[[], int]
) -> Resting:
    """Alerts at rest, of one service."""
    return Resting(store, ingest, plan, Rested(store, ingest, plan, warn), now_ms)
