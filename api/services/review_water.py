"""What the record says of a tank's water for a review: summaries of the last 14 days, standing water, test values.

Must not do: weigh it (``api/molt/readiness*.py``).
"""

from __future__ import annotations

from api.domain.cause import CauseName
from api.domain.husbandry import EventKind
from api.domain.quantity import Quantity
from api.domain.tank import Tank
from api.judge.conditions import means_of
from api.judge.soft_stage import tighter
from api.molt.readiness import DAY_MS
from api.molt.readiness_keeping import ProbeState, Sampled
from api.molt.water_kept import Kept, kept
from api.services import reasons
from api.services.entries import entry_of
from api.services.kept_means import kept_means
from api.services.plan import RoomPlan
from api.services.watch import quiet_after_s
from api.storage.animal_base import Asked
from api.storage.base import Store

SPAN_S = 300
DAYS = 14
AIR = (CauseName.LOST_AIR, CauseName.STAGNATION)
MOST_ALERTS = 2000
OXYGENS = (Quantity.OXYGEN, Quantity.OXYGEN_SATURATION)


class ReviewWater:
    """Reads for one review; made anew for each."""

    def __init__(self, store: Store, plan: RoomPlan, now_ms: int) -> None:
        self._store, self._plan, self._now_ms = store, plan, now_ms
        self._channels = store.readings.channels()
        start_ms = now_ms - DAYS * DAY_MS
        self._alerts = [
            row
            for row in store.state.alerts(None, MOST_ALERTS)
            if row.tank is not None and (row.ended_ms is None or row.ended_ms > start_ms)
        ]

    def kept(self, tank: Tank, quantity: Quantity) -> tuple[Kept, Kept] | None:
        """The last 7 and 14 days by the care range of a soft animal: of the probe that shows the worst of them.

        None where the tank has no care range for it.
        """
        care = self._plan.range_of(tank, quantity)
        if care is None or not care.limited:
            return None
        if tank.id not in self._plan.soft:
            care = tighter(care)
        end_ms = self._now_ms
        found = []
        for probe in self._plan.probes_of(tank.id):
            spans = kept_means(self._store, probe.id, quantity, end_ms - DAYS * DAY_MS, end_ms + 1, SPAN_S)
            if spans.start_ms.size or self._plan.measures(probe.id, quantity):
                found.append(tuple(kept(spans, care, end_ms - days * DAY_MS, end_ms) for days in (7, DAYS)))
        nothing = kept(means_of([], SPAN_S * 1000), care, end_ms - 7 * DAY_MS, end_ms)
        week, fortnight = min(found, key=lambda two: _badness(two[0]), default=(nothing, nothing))
        return week, fortnight

    def stagnation_h(self, tank: str) -> float:
        """Hours of the last 14 days in which an alert stood that names lost air or standing water first. [h]"""
        start_ms = self._now_ms - DAYS * DAY_MS
        total = 0
        for row in self._alerts:
            causes, _ = reasons.read(row.reasons) if row.tank == tank else ((), None)
            if causes and causes[0].name in AIR:
                total += (row.ended_ms or self._now_ms) - max(start_ms, row.since_ms)
        return total / 3.6e6

    def watched(self, tank: str) -> bool:
        """Whether a probe of the tank measures oxygen."""
        return any(self._plan.measures(probe.id, one) for probe in self._plan.heard_in(tank) for one in OXYGENS)

    def tested(self, tank: str, quantity: Quantity) -> Sampled | None:
        """The newest value of a quantity, by test kit or by a probe of the tank."""
        asked = Asked(tank=tank, kinds=(EventKind.TESTED,), end_ms=self._now_ms + 1, standing=True)
        found = [
            Sampled(value.value, row.time_ms)
            for row in self._store.animals.events(asked, 60, newest_first=True)
            for value in entry_of(row).event.tested
            if value.quantity is quantity
        ]
        probes = {probe.id for probe in self._plan.probes_of(tank)}
        found += [
            Sampled(one.value, one.last_ms)
            for one in self._channels
            if one.probe in probes and one.quantity is quantity and one.value is not None and one.flag < 4
        ]
        return max(found, key=lambda one: one.time_ms, default=None)

    def probes(self, tank: str) -> tuple[ProbeState, ...]:
        """How far the tank's probes can be believed."""
        return tuple(self._probe(probe.id) for probe in self._plan.heard_in(tank))

    def _probe(self, probe: str) -> ProbeState:
        described = self._plan.probes[probe]
        good = doubtful = 0
        due = False
        for value in described.values:
            rows = self._store.readings.summaries(
                probe, value.quantity, self._now_ms - 7 * DAY_MS, self._now_ms + 1, 3600, 3_600_000
            )
            good += sum(one.count for one in rows)
            doubtful += sum(one.flagged for one in rows)
            due_ms = self._plan.calibration_due_ms(probe, value.quantity)
            never = value.quantity in OXYGENS and not self._plan.lines.get((probe, value.quantity))
            due = due or never or (due_ms is not None and due_ms < self._now_ms)
        last_ms = max((one.last_ms for one in self._channels if one.probe == probe), default=-1)
        quiet = self._now_ms - last_ms > quiet_after_s(described, self._plan) * 1000
        return ProbeState(probe, doubtful / max(1, good), due, quiet)


def _badness(week: Kept) -> tuple[float, float]:
    return (week.in_target if week.in_target is not None else 2.0, week.known)
