"""Reaching a person: goes round all ladders, tells whom each next rung names, and says when an alert is over.

State, messages and the alert's history change in one transaction, so a restart goes on where it was.
Must not do: deliver (``deliver.py``), or decide when a rung is due (``api/judge/ladder.py``).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from api.domain.alert import AlertState, Priority
from api.domain.people import LadderSettings
from api.judge import bundle, rota
from api.judge.ladder import (
    EVERYONE,
    FIRST,
    Ladder,
    at_once,
    begin,
    climbs_left,
    first_goes,
    has_run_out,
    holds_until_ms,
    rest,
    rung_of,
    told,
)
from api.services.addresses import addresses, named, owner_of, room_targets, targets_of, wanting, zone_of
from api.services.daily_test import DailyTest
from api.services.ingest import Ingest
from api.services.plan import RoomPlan
from api.services.reopen import reopen
from api.services.rounds import Rounds
from api.services.telling import Telling
from api.storage.base import AlertRow, Store

LOOK_EVERY_S = 1.0
GATHER_MS = 60_000
"""A target that has just heard of one alert hears of the next ones together, at most so much later. [ms]"""
ALONG_MS = 300_000
"""Whoever is told again of one alert hears with it of those that would come so much later: a phone rings once. [ms]"""
RESTING = (AlertState.SHELVED, AlertState.SUPPRESSED_BY_DESIGN, AlertState.OUT_OF_SERVICE)


class Reach:
    """Goes its rounds; each is one transaction."""

    def __init__(
        self,
        store: Store,
        ingest: Ingest,
        plan: Callable[[], RoomPlan],
        telling: Telling,
        tests: DailyTest,
        now_ms: Callable[[], int],
    ) -> None:
        self._store, self._ingest, self._plan, self._now_ms = store, ingest, plan, now_ms
        self._telling, self._tests = telling, tests
        self.rounds = Rounds("reach", self.look, LOOK_EVERY_S, now_ms)

    def look(self) -> None:
        """One round."""
        now_ms = self._now_ms()
        self._tests.look(now_ms)
        if self._store.reach.ladders():
            self._store.write(lambda: self._work(now_ms), self._ingest.settle).result()

    def _work(self, now_ms: int) -> None:
        self._ingest.begin()
        standing: list[tuple[Ladder, AlertRow]] = []
        for before in self._store.reach.ladders():
            row = self._store.state.alert(before.alert)
            after = self._brought_up(before, row, now_ms) if row is not None else None
            if after is None or row is None:
                self._store.reach.drop(before.alert)
                continue
            if after != before:
                self._store.reach.keep(after)
            standing.append((after, row))
        self._tell(standing, now_ms)
        self._ingest.finish([], now_ms)

    def _brought_up(self, ladder: Ladder, row: AlertRow, now_ms: int) -> Ladder | None:
        """The ladder after what has happened to its alert; None: there is nothing more to tell."""
        state = AlertState(row.state)
        priority = Priority.NOTE if row.found_late else Priority(row.priority)
        if ladder.over:
            return ladder
        if state in (AlertState.NORMAL, AlertState.RETURNED_UNACKNOWLEDGED):
            return self._ended(ladder, row, priority, now_ms)
        if state in RESTING:
            return ladder if ladder.going == state else rest(ladder, state, now_ms, None)
        if state is AlertState.ACKNOWLEDGED:
            if ladder.acknowledged_ms is None:
                at_ms = row.acknowledged_ms or now_ms
                return rest(ladder, row.acknowledged_by or "", at_ms, holds_until_ms(priority, self._settings, at_ms))
            return self._run_out(ladder, row, priority, now_ms) if has_run_out(ladder, now_ms) else ladder
        if ladder.began_ms == 0 or (ladder.next_ms is None and ladder.going):
            return begin(ladder, priority, self._order(priority, now_ms), now_ms, ladder.lead)
        ladder = self._with_people(ladder, priority, now_ms)
        if climbs_left(ladder, self._settings) and self._store.reach.reached(ladder.alert, ladder.tells) is False:
            return at_once(ladder, now_ms, bundle.not_reached(self._tried(ladder)))
        return ladder

    def _with_people(self, ladder: Ladder, priority: Priority, now_ms: int) -> Ladder:
        """The ladder with those who are told now: people may have been added or left out meanwhile."""
        now = self._order(priority, now_ms)
        if set(now) == set(ladder.order):
            return ladder
        kept = tuple(name for name in ladder.order if name in now)
        if now and not kept:
            return begin(ladder, priority, now, now_ms, ladder.lead)
        return replace(ladder, order=(*kept, *(name for name in now if name not in kept)))

    @property
    def _settings(self) -> LadderSettings:
        return self._plan().ladder

    def _order(self, priority: Priority, now_ms: int) -> tuple[str, ...]:
        plan = self._plan()
        order = rota.order_now if priority is Priority.URGENT else rota.order_in_hours
        return order(wanting(plan, priority), now_ms, zone_of(plan))

    def _tried(self, ladder: Ladder) -> list[str]:
        """Whom the last rung was to tell."""
        return list(rung_of(replace(ladder, rung=max(FIRST, ladder.rung - 1))).people)

    def _ended(self, ladder: Ladder, row: AlertRow, priority: Priority, now_ms: int) -> Ladder | None:
        """Those who were told are told that it is over; an alert that waited for somebody's hours is told as over."""
        begun = ladder if ladder.began_ms else begin(ladder, priority, self._order(priority, now_ms), now_ms)
        if self._store.reach.told_targets(row.id):
            return None if row.found_late else replace(begun, over=True, next_ms=now_ms)
        waits = begun.order and begun.next_ms is not None and row.acknowledged_by is None and not row.found_late
        return replace(begun, over=True) if waits else None

    def _run_out(self, ladder: Ladder, row: AlertRow, priority: Priority, now_ms: int) -> Ladder:
        since_s = (now_ms - (ladder.acknowledged_ms or now_ms)) / 1000
        lead = bundle.ran_out(ladder.going, since_s)
        reopen(self._store, self._ingest, row, "acknowledgement_ran_out", now_ms, lead)
        return begin(ladder, priority, first_goes(self._order(priority, now_ms), ladder.going), now_ms, lead)

    def _tell(self, standing: list[tuple[Ladder, AlertRow]], now_ms: int) -> None:
        due: list[tuple[Ladder, AlertRow, list[str]]] = []
        for ladder, row in standing:
            if ladder.next_ms is None or ladder.next_ms > now_ms:
                continue
            targets, wait_ms = self._targets(ladder, now_ms)
            if wait_ms is None:
                due.append((ladder, row, targets))
            elif wait_ms != ladder.next_ms:
                self._store.reach.keep(replace(ladder, next_ms=wait_ms))
        due += self._along(standing, due, now_ms)
        by_target: dict[str, list[tuple[Ladder, AlertRow]]] = {}
        for ladder, row, targets in due:
            for target in targets:
                by_target.setdefault(target, []).append((ladder, row))
        for target, some in by_target.items():
            self._telling.post(target, some, now_ms)
        for ladder, row, targets in due:
            self._done(ladder, row, targets, now_ms)

    def _done(self, ladder: Ladder, row: AlertRow, targets: list[str], now_ms: int) -> None:
        if targets:
            words = ("over: " if ladder.over else "") + "; ".join(targets)
            self._store.state.add_event(row.id, "told", now_ms, text=f"{words}. {ladder.lead}".strip())
        if ladder.over:
            self._store.reach.drop(ladder.alert)
        else:
            self._store.reach.keep(told(ladder, self._settings, now_ms))

    def _along(
        self, standing: list[tuple[Ladder, AlertRow]], due: list[tuple[Ladder, AlertRow, list[str]]], now_ms: int
    ) -> list[tuple[Ladder, AlertRow, list[str]]]:
        """Repeats that are soon due for the same people come along now."""
        rungs = {(_level(one), one.order): targets for one, _, targets in due if one.rung > FIRST and not one.over}
        taken = {one.alert for one, _, _ in due}
        return [
            (one, row, rungs[_level(one), one.order])
            for one, row in standing
            if one.alert not in taken and not one.over and one.priority is Priority.URGENT
            and (_level(one), one.order) in rungs and one.next_ms is not None and one.next_ms <= now_ms + ALONG_MS
        ]  # fmt: skip

    def _targets(self, ladder: Ladder, now_ms: int) -> tuple[list[str], int | None]:
        """Whom to tell now, and None; or until when to wait. [ms]"""
        plan = self._plan()
        zone = zone_of(plan)
        rung = rung_of(ladder)
        was_told = self._store.reach.told_targets(ladder.alert) if ladder.over else []
        if was_told:
            people = [one for one in (owner_of(target, plan) for target in was_told) if one is not None]
        else:
            people = named(plan, rung.people)
        targets = was_told or [target for one in people for target in targets_of(one, every_channel=rung.every_channel)]
        if people and ladder.priority is not Priority.URGENT:
            open_ms = min(rota.opens_ms(one, now_ms, zone) for one in people)
            if open_ms > now_ms:
                return [], open_ms
            closed = [one for one in people if not rota.in_hours(one, now_ms, zone)]
            shut = {target for one in closed for target in targets_of(one, every_channel=True)}
            targets = [target for target in targets if target not in shut or ladder.over]
        if not ladder.over and ladder.priority is Priority.URGENT and ladder.rung > FIRST:
            if rung.all or not people:
                targets += room_targets(plan, ladder.priority)
        known = addresses(plan)
        if ladder.over:  # the room's own addresses are told at once, with the event
            known = {target: known[target] for target in known if owner_of(target, plan) is not None}
        targets = [target for target in dict.fromkeys(targets) if target in known]
        if targets and (ladder.over or ladder.rung == FIRST):
            # one target decides: waiting for several in turn might never end
            last_ms = self._store.reach.last_ms(targets[0], ladder.alert)
            if last_ms is not None and now_ms - last_ms < GATHER_MS:
                return [], last_ms + GATHER_MS
        return targets, None


def _level(ladder: Ladder) -> int:
    """Which rung comes next; everyone told once or often is the same."""
    return min(ladder.rung, EVERYONE)
