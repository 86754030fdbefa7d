"""One alert as pages show it.

Must not do: change an alert's state, or decide what is urgent.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from api.domain.alert import PRIORITY_ORDER, AlertKind, AlertState, Priority
from api.domain.words import KIND_WORDS
from api.services.answers import AlertNow, RoomNow
from dashboard.clock import Clock, Moment
from dashboard.retold import retold
from dashboard.units import Units, lens
from dashboard.words import PRIORITY_WORDS, STATE_WORDS, STEP_WORDS

REPEATING = 3
BEHIND = re.compile(r"(?: 80 %: [^.]*\.)?(?: Likely [^.]*\.)?")
"""What a long message puts behind the first check."""
WAITING = (AlertState.UNACKNOWLEDGED, AlertState.RETURNED_UNACKNOWLEDGED)
STANDING_ORDER = {
    AlertState.UNACKNOWLEDGED: 0,
    AlertState.ACKNOWLEDGED: 1,
    AlertState.RETURNED_UNACKNOWLEDGED: 2,
    AlertState.SHELVED: 3,
    AlertState.SUPPRESSED_BY_DESIGN: 4,
    AlertState.OUT_OF_SERVICE: 5,
}

CHANGES = (AlertKind.CHANGE_IN_HOUR, AlertKind.CHANGE_IN_DAY)


@dataclass(frozen=True, slots=True)
class StepView:
    """A step in an alert's life."""

    word: str
    when: Moment
    person: str
    text: str


@dataclass(frozen=True, slots=True)
class CauseView:
    """What may have happened, how sure that is in words, and the evidence."""

    words: str
    sure: str
    evidence: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class AlertView:
    """An alert ready to show. ``waiting``: somebody still has to acknowledge it."""

    id: int
    tank: str | None
    place: str
    kind: str
    priority: Priority
    priority_word: str
    state: AlertState
    state_word: str
    waiting: bool
    since: Moment
    ended: Moment | None
    found_late: bool
    facts: tuple[tuple[str, str], ...]
    text: str
    first_check: str
    person: str
    acknowledged: Moment | None
    note: str
    steps: tuple[StepView, ...]
    causes: tuple[CauseView, ...] = ()
    stale: bool = False
    came: str = ""
    to_do: Any = None


def most_oxygen(room: RoomNow) -> dict[str, float | None]:
    """Full saturation by tank, for showing oxygen in percent."""
    return {now.tank.id: now.most_oxygen_mg_l for now in room.tanks}


def alert_view(alert: AlertNow, units: Units, clock: Clock, most: Mapping[str, float | None]) -> AlertView:
    """One alert in words."""
    full = most.get(alert.tank or "")
    return AlertView(
        id=alert.id,
        tank=alert.tank,
        place=alert.tank_name if alert.tank else "whole room",
        kind=KIND_WORDS[alert.kind],
        priority=alert.priority,
        priority_word=PRIORITY_WORDS[alert.priority],
        state=alert.state,
        state_word="not seen to end" if alert.cut_off else STATE_WORDS[alert.state],
        waiting=alert.state in WAITING,
        since=clock.moment(alert.since_ms),
        ended=clock.maybe(alert.ended_ms),
        found_late=alert.found_late,
        facts=_facts(alert, units, most),
        text=retold(_text(alert), alert.quantity, units, full),
        first_check=alert.first_check,
        person=alert.acknowledged_by or "",
        acknowledged=clock.maybe(alert.acknowledged_ms),
        note=alert.note or "",
        steps=_steps(alert, units, clock, full),
        causes=_causes(alert, units, full),
        stale=alert.ended_ms is None and alert.stale_ms is not None and clock.now_ms > alert.stale_ms,
        came=_came(alert.came),
        to_do=alert.to_do,
    )


def _steps(alert: AlertNow, units: Units, clock: Clock, full: float | None) -> tuple[StepView, ...]:
    """What happened; the same step again and again is one line, with how often and until when."""
    out = []
    for (event, person, said), some in groupby(alert.steps, key=lambda step: (step.event, step.person, step.text)):
        same = list(some)
        word = "the late readings end" if event == "cleared" and alert.cut_off else STEP_WORDS.get(event, event)
        if len(same) > 1:
            word += f" {len(same)} times until {clock.moment(same[-1].time_ms).text}"
        # A step with a person holds what that person wrote.
        text = said if person else retold(_bare(said, alert), alert.quantity, units, full)
        out.append(StepView(word, clock.moment(same[0].time_ms), person, text))
    return tuple(out)


def _causes(alert: AlertNow, units: Units, full: float | None) -> tuple[CauseView, ...]:
    return tuple(
        CauseView(one.words, _sure(one.share), tuple(retold(e, alert.quantity, units, full) for e in one.evidence))
        for one in alert.causes
        if one.evidence
    )


def _came(times: int) -> str:
    """Repeats folded into one line."""
    if times < 2:
        return ""
    return f"repeating: came {times} times" if times >= REPEATING else f"came {times} times"


def _sure(share: float) -> str:
    """How much speaks for a cause, in words with the percent."""
    word = (
        "very likely" if share >= 0.85 else "likely" if share >= 0.5 else "possible" if share >= 0.15 else "less likely"
    )
    return f"{word}, {100 * share:.0f} %"


def _facts(alert: AlertNow, units: Units, most: Mapping[str, float | None]) -> tuple[tuple[str, str], ...]:
    facts: list[tuple[str, str]] = []
    if alert.quantity is not None:
        seen = lens(alert.quantity, units, most.get(alert.tank or ""))
        named = [("limit", alert.limit), ("worst", alert.worst)]
        if alert.ended_ms is None:
            named = [("when told", alert.value), ("limit", alert.limit), ("worst so far", alert.worst)]
        if alert.kind in CHANGES:  # how far it changed stands in its text; the water now is another matter
            named = [one for one in named if not one[0].startswith("worst")]
        facts = [(name, seen.text(value)) for name, value in named if value is not None]
    if alert.probe:
        facts.append(("probe", alert.probe))
    return tuple(facts)


def _text(alert: AlertNow) -> str:
    """The alert's text without the tank's name and the first check, which stand beside it."""
    head, found, rest = alert.text.partition(alert.first_check)
    doubt = rest[rest.index("This reading is suspect") :] if "This reading is suspect" in rest else ""
    behind = BEHIND.match(rest)
    return _bare(" ".join(f"{head} {behind[0] if behind else ''} {doubt}".split()) if found else alert.text, alert)


def _bare(text: str, alert: AlertNow) -> str:
    text = text.removeprefix(f"{alert.tank_name}: ").strip()
    return text[:1].upper() + text[1:]


def standing_first(alerts: Sequence[AlertNow], tanks: Sequence[str] = ()) -> list[AlertNow]:
    """Standing alerts: those nobody acknowledged, acknowledged ones, then those already over but not acknowledged.

    Among equals the order of ``tanks`` decides, most urgent first; what concerns the whole room comes before them.
    """
    place: dict[str | None, int] = {tank: index for index, tank in enumerate(tanks)}
    return sorted(
        (alert for alert in alerts if alert.state is not AlertState.NORMAL),
        key=lambda alert: (
            STANDING_ORDER[alert.state],
            PRIORITY_ORDER[alert.priority],
            place.get(alert.tank, -1),
            alert.since_ms,
        ),
    )
