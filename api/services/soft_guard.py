"""The soft guard: which tanks hold a soft animal, tighter oxygen there, and an alert where hard ones are with it.

Must not do: look at work that is not committed yet; it looks first and hands what it saw to the writer.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from threading import Lock

from api.domain.alert import AlertEvent, AlertKind, Priority, Subject
from api.domain.husbandry import EventKind
from api.domain.life import Life, Stage
from api.judge.alert_cycle import AT_ONCE, Sample
from api.judge.soft_stage import DAY_MS, SOFT_D, hard_from_ms, soft_until_ms, stage_at
from api.services.answers import SoftNow
from api.services.entries import entry_of
from api.services.ingest import Ingest
from api.services.lives import Lives
from api.services.plan import RoomPlan
from api.storage.animal_base import Asked
from api.storage.base import Store

ONE_OF_THEM = "one of its animals"


class SoftGuard:
    """Looks at every tank's animals. ``put_soft`` tells the plan which tanks need tighter limits."""

    def __init__(
        self,
        store: Store,
        lives: Lives,
        plan: Callable[[], RoomPlan],
        put_soft: Callable[[frozenset[str]], None],
        now_ms: Callable[[], int],
    ) -> None:
        self._store, self._lives, self._plan, self._put_soft, self._now_ms = store, lives, plan, put_soft, now_ms
        self._lock = Lock()

    def tanks(self, now_ms: int) -> dict[str, tuple[SoftNow, ...]]:
        """Animals that are soft or hardening, by tank."""
        found: dict[str, list[SoftNow]] = {}
        for life in self._lives.all().values():
            last = life.last_molt
            stage = stage_at(life.molts, now_ms)
            if life.tank is not None and last is not None and stage is not Stage.HARD:
                soft = SoftNow(life.id, life.animal.name, stage, last.time_ms, soft_until_ms(last), hard_from_ms(last))
                found.setdefault(life.tank, []).append(soft)
        for tank, soft in self._nobodys(now_ms):
            found.setdefault(tank, []).append(soft)
        return {tank: tuple(some) for tank, some in found.items()}

    def _nobodys(self, now_ms: int) -> list[tuple[str, SoftNow]]:
        """Exuviae found where nobody knows whose they are."""
        start_ms = now_ms - round(SOFT_D * DAY_MS)
        asked = Asked(kinds=(EventKind.EXUVIA,), start_ms=start_ms + 1, end_ms=now_ms + 1, standing=True)
        out = []
        for row in self._store.animals.events(asked):
            event = entry_of(row).event
            if event.animal is None and event.tank is not None:
                until_ms = event.time_ms + round(SOFT_D * DAY_MS)
                out.append((event.tank, SoftNow(None, ONE_OF_THEM, Stage.SOFT, event.time_ms, until_ms, until_ms)))
        return out

    def look(self) -> Mapping[str, int]:
        """Bring the plan up to date; per tank with soft and hard animals together, since when. [ms]"""
        with self._lock:
            now_ms = self._now_ms()
            soft = {tank: [one for one in some if one.stage is Stage.SOFT] for tank, some in self.tanks(now_ms).items()}
            soft = {tank: some for tank, some in soft.items() if some}
            self._put_soft(frozenset(soft))
            living: dict[str, list[Life]] = {}
            for life in self._lives.all().values():
                if life.tank in soft:
                    living.setdefault(life.tank, []).append(life)
            return {
                tank: min(one.molted_ms for one in some)
                for tank, some in soft.items()
                if _mixed(some, living.get(tank, []))
            }

    def take(self, mixed: Mapping[str, int], now_ms: int, ingest: Ingest, events: list[AlertEvent]) -> None:
        """In the writer: each tank's alert begins, goes on or ends."""
        for tank in self._plan().tanks:
            level = Priority.TODAY if tank in mixed else None
            sample = Sample(now_ms, level, since_ms=mixed.get(tank))
            ingest.take(Subject(tank, AlertKind.SOFT_AND_HARD), sample, AT_ONCE, events)


def _mixed(soft: list[SoftNow], living: list[Life]) -> bool:
    """Whether any animal of a tank is hard beside a soft one."""
    known = {one.animal for one in soft if one.animal is not None}
    others = [life for life in living if life.id not in known]
    nobodys = sum(one.animal is None for one in soft)
    return len(others) > nobodys if known else len(others) > 1
