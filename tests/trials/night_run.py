"""A room's night through the production path of checking and judging, and through the plain alarm beside it.

Quality checks, judging with its forecasts, the alert cycle and silence are the service's own; only keeping is left out.
The plain alarm has fixed limits, those of the same profile, and a 10-minute delay. Must not do: look at the true water.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from api.domain.alert import AlertEvent, AlertKind, Event, Priority, Subject
from api.domain.care import WARM_WATER
from api.domain.quantity import Quantity
from api.domain.reading import CheckedReading, Flag
from api.domain.tank import Probe, ServiceSettings, Tank, Value
from api.domain.tank import Room as Described
from api.judge.alert_cycle import AT_ONCE, Sample
from api.judge.check_stream import Stream
from api.services.checked import with_flag
from api.services.plan import RoomPlan
from api.services.watch import LOOK_EVERY_S, quiet_after_s
from tests.support.bare_judging import bare_judging
from tests.trials.night_cases import MINUTE_MS, Case
from tests.trials.night_water import Said

DELAY_MS = 10 * MINUTE_MS
ASKED_EVERY_MS = 10 * MINUTE_MS
LOOK_MS = round(LOOK_EVERY_S * 1000)
Q = Quantity
VALUES = (Value(Q.TEMPERATURE, "Cel"), Value(Q.OXYGEN, "mg/L"))
BOTH = (Q.TEMPERATURE, Q.OXYGEN)


@dataclass(frozen=True, slots=True)
class Left:
    """What was said of the time left to a danger limit. [ms, s]"""

    time_ms: int
    quantity: Quantity
    limit: float
    left_s: float
    low_s: float
    high_s: float | None


@dataclass
class Heard:
    """What a tank's keeper would have heard: events of the tank or the room, the plain alarm's times, times left."""

    events: list[AlertEvent] = field(default_factory=list)
    plain: list[tuple[int, Quantity, bool]] = field(default_factory=list)
    left: list[Left] = field(default_factory=list)


def plan_of(cases: Sequence[Case]) -> RoomPlan:
    """The room as its file would describe it."""
    return RoomPlan(
        room=Described("night", "UTC"),
        tanks={case.name: Tank(case.name, case.name, case.spec.volume_l) for case in cases},
        probes={case.name: Probe(case.name, "none", case.name, float(case.every_s), VALUES) for case in cases},
        care={WARM_WATER.name: WARM_WATER},
        notify=(),
        settings=ServiceSettings(),
    )


def run(cases: Sequence[Case], said: Sequence[Sequence[Said]]) -> tuple[dict[str, Heard], int]:
    """What is heard of each tank, and how many readings were judged."""
    one = _Room(cases)
    arrivals = sorted(
        ((reading.arrives_ms, place, reading) for place, readings in enumerate(said) for reading in readings),
        key=lambda item: item[:2],
    )
    for now_ms, place, reading in arrivals:
        one.hear(cases[place].name, reading, now_ms)
    one.look_until(max(readings[-1].time_ms for readings in said if readings))
    plain = {case.name: _plain(readings) for case, readings in zip(cases, said, strict=True)}
    for name, heard in one.heard.items():
        heard.plain = plain[name]
    return one.heard, 2 * len(arrivals)


class _Room:
    """The service's own parts over a store that holds nothing."""

    def __init__(self, cases: Sequence[Case]) -> None:
        self.plan, self.judging = plan_of(cases), bare_judging()
        self.channels = {(name, one): self.plan.channel(name, one) for name in self.plan.probes for one in BOTH}
        self.streams = {key: Stream(channel.limits, key[1]) for key, channel in self.channels.items()}
        self.newest: dict[str, int] = {}
        self.heard = {case.name: Heard() for case in cases}
        self._asked: dict[str, int] = {}
        self._looked_ms = -1
        self._late_ms = round(self.plan.settings.late_after_s * 1000)
        self._quiet_ms = {name: quiet_after_s(probe, self.plan) * 1000 for name, probe in self.plan.probes.items()}

    def hear(self, name: str, reading: Said, now_ms: int) -> None:
        """A pack of one probe's two values arrives."""
        self.look_until(now_ms)
        if reading.time_ms <= self.newest.get(name, -1):
            return  # such readings wait for the batch, which tells of the past and rings no phone
        self.newest[name] = reading.time_ms
        late = reading.time_ms < now_ms - self._late_ms
        events: list[AlertEvent] = []
        self.judging.begin()
        for quantity, value in zip(BOTH, (reading.temperature_c, reading.oxygen_mg_l), strict=True):
            key = (name, quantity)
            one = CheckedReading(name, quantity, reading.time_ms, value, "x", value, Flag.GOOD)
            step = self.streams[key].step(reading.time_ms, value)
            self.judging.judge(with_flag(one, step.flag, step.reason), self.channels[key], late, events)
        self._end(events)
        if now_ms - self._asked.get(name, 0) >= ASKED_EVERY_MS:
            self._asked[name] = now_ms
            self._ask(name, now_ms)

    def look_until(self, now_ms: int) -> None:
        """Look for silence every few seconds up to a time, as the service does whether or not a reading comes."""
        if self._looked_ms < 0:
            self._looked_ms = now_ms
        while self._looked_ms + LOOK_MS <= now_ms:
            self._looked_ms += LOOK_MS
            self.silence(self._looked_ms)

    def silence(self, now_ms: int) -> None:
        """Look for probes that say nothing, as the watch does; no room here is silent as a whole."""
        events: list[AlertEvent] = []
        for name, last_ms in self.newest.items():
            subject = Subject(name, AlertKind.QUIET_PROBE, name)
            quiet = now_ms - last_ms > self._quiet_ms[name]
            if quiet or self.judging.tracks.get(subject) is not None:
                self.judging.begin()
                level = Priority.TODAY if quiet else None
                self.judging.take(subject, Sample(now_ms, level, since_ms=last_ms), AT_ONCE, events)
                self._end(events)
                events = []

    def _end(self, events: list[AlertEvent]) -> None:
        self.judging.done()
        self.judging.settle(True)
        for event in events:
            mine = [event.subject.tank] if event.subject.tank is not None else list(self.heard)
            for tank in mine:
                self.heard[tank].events.append(event)

    def _ask(self, name: str, now_ms: int) -> None:
        for quantity in BOTH:
            out = self.judging.outlooks.outlook(self.channels[name, quantity], name, quantity).danger
            if out is not None:
                self.heard[name].left.append(Left(now_ms, quantity, out.limit, out.left_s, out.low_s, out.high_s))


def _plain(said: Sequence[Said]) -> list[tuple[int, Quantity, bool]]:
    """When the plain alarm rings: time, quantity, whether above; once for each stretch beyond the tolerable band."""
    out = []
    for quantity in BOTH:
        care = WARM_WATER.range_of(quantity)
        low, high = (care.tolerable_low, care.tolerable_high) if care is not None else (None, None)
        since: dict[bool, int] = {}
        rung: set[bool] = set()
        for one in said:
            value = one.temperature_c if quantity is Q.TEMPERATURE else one.oxygen_mg_l
            for above in (False, True):
                beyond = (high is not None and value > high) if above else (low is not None and value < low)
                if not beyond:
                    since.pop(above, None)
                    rung.discard(above)
                elif above not in rung and one.arrives_ms - since.setdefault(above, one.arrives_ms) >= DELAY_MS:
                    rung.add(above)
                    out.append((one.arrives_ms, quantity, above))
    return sorted(out, key=lambda item: item[0])


def told(heard: Heard, start_ms: int) -> list[AlertEvent]:
    """What was raised or made worse from a time on, in the order of time."""
    return [
        one
        for one in heard.events
        if one.time_ms >= start_ms and one.told and one.event in (Event.RAISED, Event.ESCALATED)
    ]
