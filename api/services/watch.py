"""Watching for silence: a probe, or the whole room, that has said nothing for too long.

Must not do: judge values; it only knows when each probe last spoke.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from api.domain.alert import AlertEvent, AlertKind, Priority, Subject
from api.domain.cause import Cause, CauseName
from api.domain.tank import Probe
from api.domain.words import duration
from api.judge.alert_cycle import AT_ONCE, STANDING, Sample
from api.services.ingest import AHEAD_MS, Ingest
from api.services.plan import RoomPlan
from api.services.rounds import Rounds
from api.services.soft_guard import SoftGuard
from api.storage.base import Store

LOOK_EVERY_S = 5.0


def quiet_after_s(probe: Probe, plan: RoomPlan) -> float:
    """How long a probe may say nothing: a number of missed readings and a grace time."""
    return probe.every_s * plan.settings.quiet_after_missed + plan.settings.quiet_grace_s


def _silent(probe: Probe, silent_ms: int) -> Cause:
    """Why nothing is known of a probe's water."""
    said = f"nothing for {duration(silent_ms / 1000)}; it speaks every {duration(probe.every_s)}"
    return Cause(CauseName.PROBE_QUIET, 0.95, (said, "others are heard: it is this one, its plug or its cable"))


class Watch:
    """Looks at every configured probe every few seconds."""

    def __init__(
        self, store: Store, ingest: Ingest, plan: Callable[[], RoomPlan], now_ms: Callable[[], int], guard: SoftGuard
    ) -> None:
        self._store, self._ingest, self._plan, self._now_ms, self._guard = store, ingest, plan, now_ms, guard
        self.rounds = Rounds("watch", self.look, LOOK_EVERY_S, now_ms)
        self.since_ms = now_ms()

    def look(self) -> None:
        """One look at all probes, kept like any other judgement."""
        now_ms = self._now_ms()
        company = self._guard.look()
        self._store.write(lambda: self._work(now_ms, company), self._ingest.settle).result()

    def last_ms(self, probe: Probe, subject: Subject) -> int:
        """When a probe last spoke, or when this service began to listen.

        While an alert of silence stands, only a reading ends it: a service that starts anew has heard nothing yet.
        """
        heard_ms = max(
            [self._ingest.newest.get((probe.id, value.quantity)) or -1 for value in probe.values], default=-1
        )
        track = self._ingest.tracks.get(subject)
        standing = track is not None and track.state in STANDING
        return heard_ms if standing and heard_ms >= 0 else max(heard_ms, self.since_ms)

    def _work(self, now_ms: int, company: Mapping[Subject, int]) -> None:
        self._ingest.begin()
        plan = self._plan()
        probes = [probe for probe in plan.probes.values() if probe.tank is not None and probe.live]
        events: list[AlertEvent] = []
        whole_room = len(probes) > 1 and self._whole_room(probes, plan, now_ms, events)
        self._dated_ahead(probes, now_ms, events)
        self._calibrations(plan, now_ms, events)
        self._guard.take(company, now_ms, self._ingest, events)
        for probe in probes:
            subject = Subject(probe.tank, AlertKind.QUIET_PROBE, probe.id)
            track = self._ingest.tracks.get(subject)
            if whole_room and (track is None or track.idle):
                continue
            last_ms = self.last_ms(probe, subject)
            level = Priority.TODAY if now_ms - last_ms > quiet_after_s(probe, plan) * 1000 else None
            causes = (_silent(probe, now_ms - last_ms),) if level is not None else ()
            self._ingest.take(subject, Sample(now_ms, level, since_ms=last_ms, causes=causes), AT_ONCE, events)
        self._ingest.finish(events, now_ms)

    def _dated_ahead(self, probes: list[Probe], now_ms: int, events: list[AlertEvent]) -> None:
        """After a clock that was ahead was set right: new readings come before kept ones, and are judged late."""
        newest = [
            self._ingest.newest.get((probe.id, value.quantity)) or 0 for probe in probes for value in probe.values
        ]
        level = Priority.URGENT if max(newest, default=0) > now_ms + AHEAD_MS else None
        self._ingest.take(Subject(None, AlertKind.DATED_AHEAD), Sample(now_ms, level), AT_ONCE, events)

    def _calibrations(self, plan: RoomPlan, now_ms: int, events: list[AlertEvent]) -> None:
        """Probes that should be compared again: a note, once, until it is done."""
        for probe, quantity in plan.asked_to_calibrate():
            due_ms = plan.calibration_due_ms(probe, quantity)
            tank = plan.channel(probe, quantity).tank
            subject = Subject(tank.id if tank else None, AlertKind.CALIBRATION_DUE, probe, quantity)
            level = Priority.NOTE if due_ms is not None and now_ms > due_ms else None
            self._ingest.take(subject, Sample(now_ms, level, since_ms=due_ms), AT_ONCE, events)

    def _whole_room(self, probes: list[Probe], plan: RoomPlan, now_ms: int, events: list[AlertEvent]) -> bool:
        """Whether every probe has missed its readings: then the room is told, once, and not each of its probes."""
        subject = Subject(None, AlertKind.QUIET_ROOM)
        last_ms = {probe.id: self.last_ms(probe, subject) for probe in probes}
        missed = [now_ms - last_ms[p.id] > p.every_s * plan.settings.quiet_after_missed * 1000 for p in probes]
        quiet = [now_ms - last_ms[p.id] > quiet_after_s(p, plan) * 1000 for p in probes]
        priority = Priority.URGENT if all(missed) and any(quiet) else None
        self._ingest.take(subject, Sample(now_ms, priority, since_ms=max(last_ms.values())), AT_ONCE, events)
        return all(missed)
