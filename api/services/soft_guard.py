"""The soft guard: which tanks hold a soft animal, tighter oxygen there, and an alert where hard ones are with it.

And where a mother is still with young that hatched two days ago, as she should leave them by the third.
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
from api.judge.stages import Spans, spans_of
from api.services.answers import BroodNow, SoftNow
from api.services.entries import entry_of
from api.services.ingest import Ingest
from api.services.lives import Lives
from api.services.plan import RoomPlan
from api.storage.animal_base import Asked
from api.storage.base import Store

ONE_OF_THEM = "one of its animals"
YOUNG_RIDE_MS = round(2 * DAY_MS)
"""The young ride on the mother for two to three days (common practice, no source). [ms]"""
KINDS = (AlertKind.SOFT_AND_HARD, AlertKind.MOTHER_STAYS)


class SoftGuard:
    """Looks at every tank's animals. ``put_stages`` tells the plan which tanks hold soft or berried ones, or young."""

    def __init__(
        self,
        store: Store,
        lives: Lives,
        plan: Callable[[], RoomPlan],
        put_stages: Callable[[frozenset[str], Mapping[str, frozenset[str]]], None],
        now_ms: Callable[[], int],
        put_spans: Callable[[Spans], None] = lambda spans: None,
    ) -> None:
        """``put_spans`` tells it when which tank held which, of all that is known."""
        self._store, self._lives, self._plan, self._put_stages, self._now_ms = store, lives, plan, put_stages, now_ms
        self._put_spans = put_spans
        self._seen: tuple[dict[int, Life], list[tuple[str, SoftNow]]] | None = None
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
        out = []
        for tank, time_ms in self._exuviae(now_ms - round(SOFT_D * DAY_MS) + 1, now_ms):
            until_ms = time_ms + round(SOFT_D * DAY_MS)
            out.append((tank, SoftNow(None, ONE_OF_THEM, Stage.SOFT, time_ms, until_ms, until_ms)))
        return out

    def _exuviae(self, start_ms: int, now_ms: int) -> list[tuple[str, int]]:
        """Tank and time of exuviae that are nobody's. [ms]"""
        asked = Asked(kinds=(EventKind.EXUVIA,), start_ms=start_ms, end_ms=now_ms + 1, standing=True)
        events = [entry_of(row).event for row in self._store.animals.events(asked)]
        return [(one.tank, one.time_ms) for one in events if one.animal is None and one.tank is not None]

    def broods(self) -> dict[str, tuple[BroodNow, ...]]:
        """Mothers with eggs or young, by tank."""
        found: dict[str, list[BroodNow]] = {}
        for life in self._lives.all().values():
            if life.clutch is not None and life.tank is not None:
                brood = BroodNow(life.id, life.animal.name, life.clutch.eggs_ms, life.clutch.hatched_ms)
                found.setdefault(life.tank, []).append(brood)
        return {tank: tuple(some) for tank, some in found.items()}

    def look(self) -> Mapping[Subject, int]:
        """Bring the plan up to date; what is wrong with the company in a tank, and since when. [ms]"""
        with self._lock:
            now_ms = self._now_ms()
            soft = {tank: [one for one in some if one.stage is Stage.SOFT] for tank, some in self.tanks(now_ms).items()}
            soft = {tank: some for tank, some in soft.items() if some}
            broods, lives = self.broods(), self._lives.all()
            seen = (lives, self._nobodys(now_ms))
            if seen != self._seen:
                self._put_spans(spans_of(lives.values(), self._exuviae(0, now_ms)))
                self._seen = seen
            self._put_stages(frozenset(soft), {tank: _stages(some) for tank, some in broods.items()})
            living: dict[str, list[Life]] = {}
            for life in self._lives.all().values():
                if life.tank in soft:
                    living.setdefault(life.tank, []).append(life)
            wrong = {
                Subject(tank, AlertKind.SOFT_AND_HARD): min(one.molted_ms for one in some)
                for tank, some in soft.items()
                if _mixed(some, living.get(tank, []))
            }
            for tank, mothers in broods.items():
                hatched = [one.hatched_ms for one in mothers if one.hatched_ms is not None]
                if hatched and now_ms - min(hatched) >= YOUNG_RIDE_MS:
                    wrong[Subject(tank, AlertKind.MOTHER_STAYS)] = min(hatched)
            return wrong

    def take(self, wrong: Mapping[Subject, int], now_ms: int, ingest: Ingest, events: list[AlertEvent]) -> None:
        """In the writer: each tank's alerts begin, go on or end."""
        for subject in (Subject(tank, kind) for tank in self._plan().tanks for kind in KINDS):
            level = Priority.TODAY if subject in wrong else None
            ingest.take(subject, Sample(now_ms, level, since_ms=wrong.get(subject)), AT_ONCE, events)


def _stages(broods: tuple[BroodNow, ...]) -> frozenset[str]:
    """The stages a care range may be changed for."""
    return frozenset("berried" if one.hatched_ms is None else "with young" for one in broods)


def _mixed(soft: list[SoftNow], living: list[Life]) -> bool:
    """Whether any animal of a tank is hard beside a soft one."""
    known = {one.animal for one in soft if one.animal is not None}
    others = [life for life in living if life.id not in known]
    nobodys = sum(one.animal is None for one in soft)
    return len(others) > nobodys if known else len(others) > 1
