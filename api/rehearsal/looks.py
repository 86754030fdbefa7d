"""Which looks for silence a rehearsal can leave out: those that would find what the last one found.

Must not do: look (``services/watch.py`` does), or know how readings come.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from api.domain.alert import AlertKind, Priority, Subject
from api.domain.tank import Probe
from api.judge.alert_cycle import STANDING, Track
from api.science.arrays import Ints
from api.services.memory import Layered
from api.services.plan import RoomPlan
from api.services.watch import quiet_after_s

HOUR_MS = 3_600_000
FOR_EVER_MS = 2**62


class Silences:
    """When probes will have missed their readings, where all that they will say is known."""

    def __init__(self) -> None:
        self._ends_ms = self._from_ms = np.zeros(0, np.int64)

    def know(self, spoke_ms: Sequence[Ints], missed_ms: Sequence[int]) -> None:
        """``spoke_ms``: all the times of each probe, the first when the rehearsal began; and how long each may miss."""
        gaps = []
        for times_ms, most_ms in zip(spoke_ms, missed_ms, strict=True):
            ends_ms = np.append(times_ms[1:], FOR_EVER_MS)
            long = ends_ms - times_ms > most_ms
            gaps.append((times_ms[long] + most_ms, ends_ms[long]))
        from_ms, ends_ms = (np.concatenate(part) for part in zip(*gaps, strict=True))
        order = np.argsort(ends_ms, kind="stable")
        self._ends_ms = ends_ms[order]
        self._from_ms = np.minimum.accumulate(from_ms[order][::-1])[::-1]

    def begin_ms(self, now_ms: int) -> int:
        """When the first probe will have missed its readings, or has missed them now."""
        return int(self._from_ms[np.searchsorted(self._ends_ms, now_ms)])


class Looks:
    """``spoke_ms``: when a probe last spoke, or when the rehearsal began. ``silences``: where they are known before."""

    silences: Silences | None = None

    def __init__(self, plan: RoomPlan, tracks: Layered[Subject, Track], spoke_ms: Callable[[Probe], int]) -> None:
        self._plan, self._tracks, self._spoke_ms = plan, tracks, spoke_ms
        probes = [probe for probe in plan.probes.values() if probe.tank is not None and probe.live]
        missed = plan.settings.quiet_after_missed
        self._probes = [(probe, Subject(probe.tank, AlertKind.QUIET_PROBE, probe.id)) for probe in probes]
        self._missed_ms = [(probe, int(probe.every_s * missed * 1000)) for probe in probes]
        self._calm = False

    def nothing_until(self, now_ms: int) -> int:
        """Until when looks are known to find what the last one found; before ``now_ms``: this one must be made."""
        if self._calm:
            quiet_ms = self._all_heard_until(now_ms)
            if now_ms <= quiet_ms:
                return quiet_ms
        self._calm = False
        plan = self._plan
        due_ms = self._nothing_due_until(now_ms)
        last_ms = [self._spoke_ms(probe) for probe, _ in self._probes]
        both = list(zip(self._probes, last_ms, strict=True))
        missed = [now_ms - ms > one.every_s * plan.settings.quiet_after_missed * 1000 for (one, _), ms in both]
        silent = [now_ms - ms > quiet_after_s(one, plan) * 1000 for (one, _), ms in both]
        if due_ms < now_ms or not self._probes_same(missed, silent):
            return -1
        if any(missed):
            return now_ms  # until it is heard, which may be at any time
        self._calm = bool(self._probes) and not plan.asked_to_calibrate()
        return min(due_ms, self._all_heard_until(now_ms))

    def know(self, times_ms: Callable[[Probe], Ints]) -> None:
        """All that each probe will say is known, and when the rehearsal began before it."""
        if self._missed_ms:
            self.silences = Silences()
            self.silences.know([times_ms(one) for one, _ in self._missed_ms], [ms for _, ms in self._missed_ms])

    def _all_heard_until(self, now_ms: int) -> int:
        """When the first probe will have missed its readings, as far as is known."""
        if self.silences is not None:
            return self.silences.begin_ms(now_ms)
        return min((self._spoke_ms(probe) + missed_ms for probe, missed_ms in self._missed_ms), default=FOR_EVER_MS)

    def _nothing_due_until(self, now_ms: int) -> int:
        """The same for calibrations."""
        plan, until_ms = self._plan, now_ms + HOUR_MS
        for probe, quantity in plan.asked_to_calibrate():
            tank, due_ms = plan.channel(probe, quantity).tank, plan.calibration_due_ms(probe, quantity)
            subject = Subject(tank.id if tank else None, AlertKind.CALIBRATION_DUE, probe, quantity)
            if due_ms is not None:
                if not _same(self._tracks.get(subject), now_ms > due_ms, Priority.NOTE):
                    return -1
                if now_ms <= due_ms:
                    until_ms = min(until_ms, due_ms)
        return until_ms

    def _probes_same(self, missed: list[bool], silent: list[bool]) -> bool:
        """Whether a look would find every probe, and the room as a whole, as they were."""
        whole_room = len(missed) > 1 and all(missed)
        if len(missed) > 1:
            room = self._tracks.get(Subject(None, AlertKind.QUIET_ROOM))
            if not _same(room, whole_room and any(silent), Priority.URGENT):
                return False
        for (_, subject), quiet in zip(self._probes, silent, strict=True):
            track = self._tracks.get(subject)
            if not (whole_room and (track is None or track.idle)) and not _same(track, quiet, Priority.TODAY):
                return False
        return True


def _same(track: Track | None, beyond: bool, level: Priority) -> bool:
    """Whether a sample of a level, or of none, would change nothing of a track."""
    if beyond:
        return track is not None and track.state in STANDING and track.level is level and track.told
    return track is None or track.dormant
