"""The three weeks ahead: who molts when, how many a day, and when several are likely together.

Days are those of the room's own calendar. Must not do: alarm; what is foretold may come late.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

from api.domain.life import Stage
from api.molt.clusters import Cluster, ClusterSettings, DayCount, cluster_words, clusters, day_counts
from api.molt.outlook import DAYS, MoltOutlook
from api.services.animals import AnimalNow, Animals
from api.services.molts import Molts
from api.services.plan import RoomPlan

__all__ = ["Cluster", "ClusterSettings", "DayCount", "Due", "MoltAhead", "MoltCalendar", "cluster_words"]


@dataclass(frozen=True, slots=True)
class Due:
    """One living animal and what is foretold of it; ``outlook`` None: nothing yet."""

    animal: AnimalNow
    outlook: MoltOutlook | None


@dataclass(frozen=True, slots=True)
class MoltAhead:
    """The days ahead of some tanks' animals, those whose window begins first before the others.

    ``edges_ms`` are now and the midnights that follow. ``settings`` say what was called a cluster.
    """

    now_ms: int
    edges_ms: tuple[int, ...]
    due: tuple[Due, ...]
    days: tuple[DayCount, ...]
    clusters: tuple[Cluster, ...]
    settings: ClusterSettings

    @property
    def soft(self) -> tuple[AnimalNow, ...]:
        """Those that are soft or hardening now."""
        return tuple(one.animal for one in self.due if one.animal.stage is not Stage.HARD)


class MoltCalendar:
    """Answers what the calendar and the review ask."""

    def __init__(self, animals: Animals, molts: Molts, plan: Callable[[], RoomPlan]) -> None:
        self._animals, self._molts, self._plan = animals, molts, plan

    def ahead(
        self, now_ms: int, tanks: Collection[str] | None = None, settings: ClusterSettings | None = None
    ) -> MoltAhead:
        """The three weeks ahead of the animals in some tanks, or of all (None)."""
        asked = settings or ClusterSettings()
        edges = midnights(now_ms, self._plan().room.zone)
        room = self._molts.outlook(now_ms)
        told = {one.animal: one for one in room.outlooks} if room is not None else {}
        mine = [
            Due(one, told.get(one.id))
            for one in self._animals.all(now_ms)
            if one.life.alive and (tanks is None or one.life.tank in tanks)
        ]
        numbers = [one.animal.id for one in mine]
        return MoltAhead(
            now_ms=now_ms,
            edges_ms=edges,
            due=tuple(sorted(mine, key=_order)),
            days=day_counts(room, numbers, edges) if room is not None else (),
            clusters=clusters(room, numbers, asked, edges) if room is not None else (),
            settings=asked,
        )


def _order(due: Due) -> tuple[float, float, str]:
    """The earliest windows first; the berried, whose clock stands still, and those nobody can tell of last."""
    out = due.outlook
    if out is None or out.held:
        return (float("inf"), float("inf"), due.animal.animal.name.casefold())
    low, middle = out.window_80[0], out.middle_ms
    return (
        low if low is not None else float("inf"),
        middle if middle is not None else float("inf"),
        due.animal.animal.name.casefold(),
    )


def midnights(now_ms: int, zone: str, days: int = DAYS) -> tuple[int, ...]:
    """Now, and the midnights of a zone that follow, so many days in all (today counts)."""
    there = ZoneInfo(zone)
    today = datetime.fromtimestamp(now_ms / 1000, UTC).astimezone(there).date()
    starts = [datetime.combine(today + timedelta(days=day), time(), there) for day in range(1, days + 1)]
    return (now_ms, *(_ms(start) for start in starts))


def _ms(when: datetime) -> int:
    return round(when.timestamp() * 1000)
