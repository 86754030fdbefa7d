"""What people did in a night, and what is due today: alerts, rests, care, calibrations, air tests, animals.

Must not do: say "done" of what was withdrawn.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from urllib.parse import quote
from zoneinfo import ZoneInfo

from api.domain.alert import AlertKind, AlertState
from api.domain.care_change import PROFILE
from api.domain.husbandry import KIND_NAMES
from api.domain.quantity import MEANING
from api.domain.rest import Rest, Scope
from api.domain.words import KIND_WORDS, duration
from api.judge.resting import STALE_MS
from api.judge.rota import local_of, moment_ms
from api.services.calibrations import entry_of as calibration_of
from api.services.entries import entry_of
from api.services.lives import Lives
from api.services.molts import Molts
from api.services.morning_answers import Done, DueToday
from api.services.plan import RoomPlan
from api.services.soft_guard import YOUNG_RIDE_MS, SoftGuard
from api.storage.animal_base import Asked
from api.storage.base import Store

DAY_MS = 86_400_000
PERSONS_STEPS = {"acknowledged": "acknowledged", "cannot_go": "could not go to"}
REST_WORDS = {
    AlertState.SHELVED: "shelved",
    AlertState.SUPPRESSED_BY_DESIGN: "worked on",
    AlertState.OUT_OF_SERVICE: "took out of service",
}
MOLT_LIKELY = 0.25
"""A molt within three days is said from this chance on: judgement. [1]"""
MOST_MOLTS = 8


class MorningLog:
    """Answers the morning report's questions about people and animals."""

    def __init__(
        self, store: Store, plan: Callable[[], RoomPlan], lives: Lives, guard: SoftGuard, molts: Molts
    ) -> None:
        self._store, self._plan, self._lives, self._guard, self._molts = store, plan, lives, guard, molts

    def done(self, start_ms: int, end_ms: int) -> tuple[Done, ...]:
        """What people did from start (inside) to end (outside), in the order of time."""
        found = [
            *self._answers(start_ms, end_ms),
            *self._rests(start_ms, end_ms),
            *self._log(start_ms, end_ms),
            *self._settings(start_ms, end_ms),
        ]
        return tuple(sorted(found, key=lambda one: one.time_ms))

    def _answers(self, start_ms: int, end_ms: int) -> Iterable[Done]:
        for step in self._store.history.steps(start_ms, end_ms, tuple(PERSONS_STEPS)):
            if step.person:
                said = f": {step.text}" if step.text else ""
                what = f"{PERSONS_STEPS[step.event]} {KIND_WORDS[AlertKind(step.kind)]}{said}"
                yield Done(step.time_ms, step.person, what, self._name(step.tank))

    def _rests(self, start_ms: int, end_ms: int) -> Iterable[Done]:
        for one in self._store.rests.rests(running=False, most=2000):
            tank, what = self._rested(one)
            if start_ms <= one.from_ms < end_ms:
                yield Done(one.from_ms, one.person, f"{REST_WORDS[one.state]} {what}: {one.reason}", tank)
            if one.ended_ms is not None and one.ended_by and start_ms <= one.ended_ms < end_ms:
                outcome = f": {one.outcome}" if one.outcome else ""
                yield Done(one.ended_ms, one.ended_by, f"ended that of {what}{outcome}", tank)

    def _rested(self, one: Rest) -> tuple[str, str]:
        """Where something rests, and what."""
        if one.scope is Scope.ALERT:
            tank, kind, *_ = one.key.split("/")
            return self._name(tank or None), KIND_WORDS[AlertKind(kind)]
        if one.scope is Scope.TANK:
            return self._name(one.key), "the tank"
        probe = self._plan().probes.get(one.key)
        return self._name(probe.tank if probe is not None else None), one.key

    def _log(self, start_ms: int, end_ms: int) -> Iterable[Done]:
        lives = self._lives.all()
        for row in self._store.animals.events(Asked(start_ms=start_ms, end_ms=end_ms, standing=True)):
            entry = entry_of(row)
            animal = lives.get(entry.event.animal) if entry.event.animal is not None else None
            who = f", {animal.animal.name}" if animal is not None else ""
            what = f"noted: {KIND_NAMES[entry.event.kind]}{who}"
            yield Done(entry.event.time_ms, entry.entered_by, what, self._name(entry.event.tank))
        for test in self._store.air_tests.tests():
            if start_ms <= test.off_ms < end_ms:
                yield Done(test.off_ms, test.person, "stopped the air for a test", self._name(test.tank))

    def _settings(self, start_ms: int, end_ms: int) -> Iterable[Done]:
        for change in self._store.care.changes():
            if start_ms <= change.from_ms < end_ms:
                number = change.name.removesuffix("_s").replace("_", " ")
                to = "withdrawn" if change.withdrawn else "none" if change.value is None else f"{change.value:g}"
                of = f"of {change.key}" if change.scope == PROFILE else ""
                what = f"care {of}, {MEANING[change.quantity].label} {number}: {to} ({change.reason})".replace(
                    " ,", ","
                )
                yield Done(change.from_ms, change.person, what, "" if of else self._name(change.key))
        for row in self._store.revisions.calibrations():
            one = calibration_of(row)
            if start_ms <= one.entered_ms < end_ms and one.withdrawn_ms is None:
                given = one.calibration
                probe = self._plan().probes.get(given.probe)
                what = f"compared {given.probe}, {MEANING[given.quantity].label}"
                yield Done(one.entered_ms, given.person, what, self._name(probe.tank if probe is not None else None))

    def due(self, now_ms: int) -> tuple[DueToday, ...]:
        """What is due before the room's next midnight, or overdue; what has a time in the order of it."""
        zone = ZoneInfo(self._plan().room.zone)
        midnight_ms = moment_ms(local_of(now_ms, zone).date(), 1440, zone)
        found = [
            *self._calibrations(now_ms, midnight_ms),
            *self._resting(now_ms, midnight_ms),
            *self._stale(now_ms),
            *self._animals(now_ms, midnight_ms),
        ]
        return tuple(sorted(found, key=lambda one: (not one.overdue, one.when_ms is None, one.when_ms or 0)))

    def _calibrations(self, now_ms: int, midnight_ms: int) -> Iterable[DueToday]:
        plan = self._plan()
        for probe, quantity in plan.asked_to_calibrate():
            due_ms = plan.calibration_due_ms(probe, quantity)
            if due_ms is not None and due_ms < midnight_ms:
                what = f"compare {probe}, {MEANING[quantity].label}"
                yield DueToday(what, None, f"/probe/{quote(probe, safe='')}", due_ms < now_ms)

    def _resting(self, now_ms: int, midnight_ms: int) -> Iterable[DueToday]:
        for one in self._store.rests.rests(running=True):
            tank, what = self._rested(one)
            place = f"{tank}: " if tank else ""
            if one.until_ms is not None and one.until_ms < midnight_ms and one.state is AlertState.SHELVED:
                yield DueToday(f"{place}the shelf of {what} ends ({one.reason})", one.until_ms, "/alerts")
            elif one.until_ms is None and now_ms - one.from_ms > DAY_MS:
                since = duration((now_ms - one.from_ms) / 1000)
                yield DueToday(f"{place}{what} is out of service for {since} ({one.reason})", None, "/alerts", True)

    def _stale(self, now_ms: int) -> Iterable[DueToday]:
        for row in self._store.history.stood(now_ms, now_ms + 1):
            resting = row.state == AlertState.OUT_OF_SERVICE
            if row.ended_ms is None and not resting and now_ms - row.raised_ms > STALE_MS:
                place = f"{self._name(row.tank)}: " if row.tank else ""
                words = f"{place}{KIND_WORDS[AlertKind(row.kind)]} stands for more than a day"
                yield DueToday(words, None, f"/alert/{row.alert}", True)

    def _animals(self, now_ms: int, midnight_ms: int) -> Iterable[DueToday]:
        for tank, some in self._guard.tanks(now_ms).items():
            for soft in some:
                if now_ms <= soft.soft_until_ms < midnight_ms:
                    yield DueToday(f"{self._name(tank)}: {soft.name} is no longer soft", soft.soft_until_ms, _log(tank))
                elif now_ms <= soft.hard_from_ms < midnight_ms:
                    yield DueToday(f"{self._name(tank)}: {soft.name} is hard again", soft.hard_from_ms, _log(tank))
        for tank, broods in self._guard.broods().items():
            for brood in broods:
                if brood.hatched_ms is not None and brood.hatched_ms + YOUNG_RIDE_MS < midnight_ms:
                    what = f"{self._name(tank)}: take {brood.name} out, her young hatched"
                    yield DueToday(what, brood.hatched_ms + YOUNG_RIDE_MS, _log(tank))
        room = self._molts.outlook(now_ms)
        likely = [one for one in (room.outlooks if room is not None else ()) if one.within_3d >= MOLT_LIKELY]
        lives = self._lives.all()
        for one in sorted(likely, key=lambda one: -one.within_3d)[:MOST_MOLTS]:
            life = lives.get(one.animal)
            if life is not None:
                place = f"{self._name(life.tank)}: " if life.tank is not None else ""
                words = f"{place}{life.animal.name} may molt ({one.within_3d:.0%} within 3 days)"
                yield DueToday(words, None, f"/animal/{one.animal}")

    def _name(self, tank: str | None) -> str:
        found = self._plan().tanks.get(tank) if tank is not None else None
        return found.name if found is not None else (tank or "")


def _log(tank: str) -> str:
    return f"/tank/{quote(tank, safe='')}/log"
