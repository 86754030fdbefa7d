"""A night's marks, given by the true water: was danger told before it came, how long before the plain alarm, and why.

Must not do: use what was judged as truth.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from api.domain.alert import AlertEvent, AlertKind, Priority
from api.domain.care import WARM_WATER
from api.domain.cause import CauseName as C
from api.domain.quantity import Quantity
from tests.trials.night_cases import HOUR_MS, LYING, MINUTE_MS, OXYGEN_FAULTS, SWAPPED, Case
from tests.trials.night_run import Heard, told
from tests.trials.night_water import Water

SLOW_MS, LIE_MS = 30 * MINUTE_MS, 30 * MINUTE_MS
DRIFTED_MG_L = 1.0
"""A drifting probe lies once it is this far off. Judgement. [mg/L]"""
SWAPPED_K = 1.0
"""And a probe in another tank's water once that is so much warmer or colder, or a milligram apart. Judgement. [K]"""
ASKED_BACK_MS = 6 * HOUR_MS
RIGHT = {
    "air stops": {C.LOST_AIR, C.STAGNATION}, "air weakens": {C.LOST_AIR, C.STAGNATION},
    "filter stops": {C.LOST_AIR, C.STAGNATION}, "heater on": {C.HEATER_STUCK_ON}, "heater dead": {C.HEATER_DEAD},
    "demand rises": {C.RISING_DEMAND}, "room cooling": {C.ROOM_COOLING}, "room heating": {C.ROOM_HEATING},
    "power cut": {C.POWER_CUT}, "probe stuck": {C.PROBE_STUCK}, "probe drifting": {C.PROBE_DRIFTING},
    "probe lifted and forgotten": {C.PROBE_IN_AIR}, "probe quiet": {C.PROBE_QUIET},
    SWAPPED: {C.PROBES_SWAPPED},
}  # fmt: skip
"""Lost air and standing water are one line of the list of causes."""
OF_A_PROBE = (AlertKind.NOT_KNOWN, AlertKind.QUIET_PROBE)
KINDS = {Quantity.OXYGEN: {AlertKind.LOW_OXYGEN}, Quantity.TEMPERATURE: {AlertKind.HEAT, AlertKind.COLD}}


@dataclass
class Marks:
    """One tank's night. Times in ms; ``doubted``: alerts of a probe that told the truth; ``because``: what was
    missed, in words. ``first_ms``, ``plain_ms``: when ours and the plain alarm first rang for the fault's quantity;
    ``lead_s`` stands where the plain alarm rang at all. ``lesser``: alerts of a good night that were not urgent.
    """

    seed: int
    place: int
    kind: str
    volume_l: float
    every_s: int
    danger_ms: int | None = None
    danger_of: Quantity | None = None
    first_ms: int | None = None
    plain_ms: int | None = None
    before: bool | None = None
    lead_s: float | None = None
    urgent: int = 0
    lesser: int = 0
    plain: int = 0
    doubted: int = 0
    lied_told: bool | None = None
    cause_right: bool | None = None
    cause: str = ""
    held: list[bool] = field(default_factory=list)
    hour_error: float | None = None
    because: list[str] = field(default_factory=list)

    @property
    def benign(self) -> bool:
        """Whether nothing was wrong with the tank that night."""
        return self.kind not in RIGHT


def marks_of(case: Case, column: int, water: Water, heard: Heard) -> Marks:
    """Marks of one night."""
    out = Marks(case.seed, case.place, case.kind, round(case.spec.volume_l, 1), case.every_s)
    rung = told(heard, case.start_ms)
    begin_ms = int(water.times_ms[0]) + 12 * HOUR_MS
    if case.kind not in LYING:
        out.doubted = sum(one.subject.kind in OF_A_PROBE for one in told(heard, begin_ms))
    if out.benign:
        out.urgent = sum(one.priority is Priority.URGENT for one in told(heard, begin_ms))
        out.lesser = len(told(heard, begin_ms)) - out.urgent
        out.plain = sum(at >= begin_ms for at, _, _ in heard.plain)
        if out.urgent:
            one = next(one for one in told(heard, begin_ms) if one.priority is Priority.URGENT)
            out.because.append(f"urgent {one.subject.kind} at {one.value} {_causes(one)}")
        return out
    if case.kind in LYING:
        _lie(out, case, column, water, rung)
    else:
        _danger(out, case, column, water, heard, rung)
    _cause(out, case, rung)
    return out


def _danger(out: Marks, case: Case, column: int, water: Water, heard: Heard, rung: Sequence[AlertEvent]) -> None:
    """When the true water crossed a danger limit, and what had been told by then."""
    after = water.times_ms >= case.start_ms
    crossed = []
    for quantity, values in ((Quantity.TEMPERATURE, water.temperature_c), (Quantity.OXYGEN, water.oxygen_mg_l)):
        care = WARM_WATER.range_of(quantity)
        low = care.danger_low if care is not None and care.danger_low is not None else -np.inf
        high = care.danger_high if care is not None and care.danger_high is not None else np.inf
        beyond = after & ((values[:, column] < low) | (values[:, column] > high))
        if beyond.any():
            crossed.append((int(water.times_ms[int(np.argmax(beyond))]), quantity))
    quantity = Quantity.OXYGEN if case.kind in OXYGEN_FAULTS else Quantity.TEMPERATURE
    if crossed:
        out.danger_ms, quantity = min(crossed)
        out.danger_of = quantity
    mine = [one for one in rung if one.subject.kind in KINDS[quantity]]
    out.first_ms = mine[0].time_ms if mine else None
    if out.danger_ms is not None and out.danger_ms - case.start_ms > SLOW_MS:
        out.before = out.first_ms is not None and out.first_ms < out.danger_ms
        if not out.before:
            late = "never" if out.first_ms is None else f"{(out.first_ms - out.danger_ms) / MINUTE_MS:.0f} min late"
            out.because.append(f"danger of {quantity} told {late}")
    rang = (at for at, what, _ in heard.plain if what is quantity and at >= case.start_ms)
    out.plain_ms = next(rang, None)
    if out.plain_ms is not None and (case.kind in OXYGEN_FAULTS or case.kind == "heater on"):
        out.lead_s = (out.plain_ms - (out.first_ms if out.first_ms is not None else int(water.times_ms[-1]))) / 1000
    if out.danger_ms is not None:
        _left(out, heard, quantity)


def _left(out: Marks, heard: Heard, quantity: Quantity) -> None:
    """Whether the intervals of the time left held, and how far the middle was off an hour before the limit."""
    end_ms = out.danger_ms or 0
    for one in heard.left:
        if one.quantity is not quantity or not end_ms - ASKED_BACK_MS <= one.time_ms < end_ms - 5 * MINUTE_MS:
            continue
        if out.first_ms is None or one.time_ms < out.first_ms:
            continue
        true_s = (end_ms - one.time_ms) / 1000
        out.held.append(one.low_s <= true_s and (one.high_s is None or true_s <= one.high_s))
        if abs(true_s - 3600.0) <= 300.0 and out.hour_error is None:
            out.hour_error = abs(one.left_s - true_s) / true_s


def _lie(out: Marks, case: Case, column: int, water: Water, rung: Sequence[AlertEvent]) -> None:
    """Whether a probe that lies, or says nothing, was told in time."""
    since_ms, within_ms = case.start_ms, LIE_MS
    if case.kind == "probe quiet":
        within_ms = 3 * case.every_s * 1000 + 5 * MINUTE_MS + case.every_s * 1000
    if case.kind in ("probe drifting", SWAPPED):
        off = np.abs(water.oxygen_mg_l[:, column] - water.probe_mg_l[:, column]) > DRIFTED_MG_L
        if case.kind == SWAPPED:
            off |= np.abs(water.temperature_c[:, column] - water.probe_c[:, column]) > SWAPPED_K
        lies = (water.times_ms >= case.start_ms) & off
        if not lies.any():
            return
        since_ms = int(water.times_ms[int(np.argmax(lies))])
    probe = [one for one in rung if one.subject.kind in OF_A_PROBE]
    out.first_ms = probe[0].time_ms if probe else None
    out.lied_told = out.first_ms is not None and out.first_ms <= since_ms + within_ms
    if not out.lied_told:
        late = "never" if out.first_ms is None else f"after {(out.first_ms - since_ms) / MINUTE_MS:.0f} min"
        out.because.append(f"told {late}")


def _cause(out: Marks, case: Case, rung: Sequence[AlertEvent]) -> None:
    """Whether the first alert that names a cause names the right one first; a silent probe is its own cause."""
    if case.kind == "probe quiet":
        named = [C.PROBE_QUIET for one in rung if one.subject.kind is AlertKind.QUIET_PROBE]
    else:
        named = [one.causes[0].name for one in rung if one.causes]
    if not named:
        return
    out.cause = str(named[0])
    out.cause_right = named[0] in RIGHT[case.kind]
    if not out.cause_right:
        out.because.append(f"called {out.cause}")


def _causes(one: AlertEvent) -> str:
    return f"({', '.join(str(cause.name) for cause in one.causes[:2])})" if one.causes else ""
