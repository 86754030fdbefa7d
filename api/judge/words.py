"""The words of an alert: tank, value, limit, trend, time left and the first thing to check, most needed first.

Pure. Must not do: name a person, or promise what the tool cannot do.
"""

from __future__ import annotations

from api.domain.alert import AlertEvent, AlertKind, Event, Priority
from api.domain.cause import CAUSE_SHORT, CauseName
from api.domain.quantity import MEANING, Quantity
from api.domain.words import KIND_WORDS, duration
from api.judge.outlook import Outlook

FIRST_CHECK = {
    AlertKind.HEAT: "Is the heater still on? Unplug it at the wall, dry hands. Shade, lid off; never ice in the tank.",
    AlertKind.COLD: "Is the heater plugged in and warm? Is the room heating on? Warm the water slowly.",
    AlertKind.LOW_OXYGEN: "Is the airstone bubbling? Check the airline and the air pump; dry hands at the plug.",
    AlertKind.QUIET_PROBE: "Look at the animal first, then at the probe's plug and cable.",
    AlertKind.QUIET_ROOM: "Is there power in the room? Look at the tanks, then at the computer beside them.",
    AlertKind.DATED_AHEAD: "A wrong clock dated them; until that time comes, new readings are judged late. Look at the"
    " tanks yourself; is the computer's clock right now?",
    AlertKind.NOT_KNOWN: "Look at the animal; is the probe in the water, clean and whole?",
    AlertKind.OUTSIDE_CARE: "Measure it again by hand before changing the water.",
    AlertKind.CALIBRATION_DUE: "Compare the probe with air-saturated water or a reference, and enter it on its page.",
    AlertKind.SOFT_AND_HARD: "Part them: the hard ones out, or a divider and shelter. Do not handle the soft one.",
    AlertKind.MOTHER_STAYS: "Take her out by day 3, once no young cling under her tail; crowded mothers eat young.",
    AlertKind.CHANGE_IN_HOUR: "Water poured, heater or room changed? Slow it down; do not turn it back at once.",
    AlertKind.CHANGE_IN_DAY: "What changed since yesterday: heater, room, water, food? Take it back in small steps.",
    AlertKind.NOT_DELIVERED: "The People page says which channel failed and why. Is the network there?",
}
FIRST_CHECK_OF = {
    CauseName.RISING_DEMAND: "A dead animal, food left? Take it out; is the airstone bubbling?",
    CauseName.STAGNATION: "Does the filter run? Look at pump and plug, dry hands.",
    CauseName.POWER_CUT: "Is there power? Battery air first; look at the fuse or breaker, dry hands.",
    CauseName.ROOM_COOLING: "Is the room heating on, a door open? Lids on.",
    CauseName.ROOM_HEATING: "Is the room's heating or cooling wrong? Shade, lids off; never ice in the tank.",
    CauseName.PROBE_IN_AIR: "Is the probe in the water? Look at the animal too.",
    CauseName.PROBE_STUCK: "Look at the animal, then unplug the probe and plug it in again.",
    CauseName.PROBE_UNSTEADY: "Look at the animal, then at cable and plug, and for a bubble on the probe.",
    CauseName.PROBE_DRIFTING: "Is the airstone bubbling? Then wipe the probe and compare it by hand.",
}
"""What to look at first where the cause says more than the kind of alert."""
CHANGES = (AlertKind.CHANGE_IN_HOUR, AlertKind.CHANGE_IN_DAY)
"""Their ``doubt`` says by how much the water changed."""
SHORT_UNITS = {
    Quantity.OXYGEN_SATURATION: "%",
    Quantity.CONDUCTIVITY: "µS/cm",
    **dict.fromkeys(
        (Quantity.AMMONIA, Quantity.NITRITE, Quantity.NITRATE, Quantity.HARDNESS, Quantity.ALKALINITY), "mg/L"
    ),
}
"""Units that need not be said in full twice in one sentence."""
FIRST_READ = 160
"""What a phone shows of a message before it is opened."""
LIKELY = 0.5
"""A cause less likely than this is no help half asleep. [1]"""
SIDES = {AlertKind.LOW_OXYGEN: -1, AlertKind.COLD: -1, AlertKind.HEAT: 1}
CAUTION = "Mains and water: residual-current protection, drip loops, dry hands; follow your site's rules."


def amount(value: float, quantity: Quantity) -> str:
    """A value with its unit, at the decimals worth showing."""
    meaning = MEANING[quantity]
    return f"{value:.{meaning.decimals}f} {meaning.unit_label}"


def brief(value: float, quantity: Quantity) -> str:
    """A value once its kind was said: with the shortest unit that leaves no doubt."""
    return f"{value:.{MEANING[quantity].decimals}f} {SHORT_UNITS.get(quantity, MEANING[quantity].unit_label)}"


def trend_words(outlook: Outlook, quantity: Quantity, *, interval: bool = True) -> str:
    """The trend and the time left in words; empty when no trend can be told."""
    rate = outlook.trend_per_hour
    if rate is None:
        return ""
    if rate == 0.0:
        return "steady"
    words = f"{'falling' if rate < 0 else 'rising'} {brief(abs(rate), quantity)} per hour"
    if outlook.left_s is not None and outlook.limit is not None:
        words += f", {duration(outlook.left_s)} to {brief(outlook.limit, quantity)}"
        if outlook.low_s is None:
            return f"{words} at this rate"
        words += f" ({interval_words(outlook)})" if interval else ""
    return words


def interval_words(outlook: Outlook) -> str:
    """How sure the time left is; empty where no interval is known."""
    if outlook.left_s is None or outlook.limit is None or outlook.low_s is None:
        return ""
    late = duration(_about(outlook.high_s)) if outlook.high_s is not None else "never"
    return f"80 %: {duration(_about(outlook.low_s))} to {late}"


def _about(seconds: float) -> float:
    """As exactly as an interval's end is known: to five minutes, beyond two hours to ten."""
    step = 300.0 if seconds < 7200.0 else 600.0
    return max(60.0, round(seconds / step) * step) if seconds >= 600.0 else seconds


def cause_words(event: AlertEvent) -> str:
    """The likeliest cause in the fewest words; empty when none is likely."""
    first = event.causes[0] if event.causes else None
    if first is None or first.share < LIKELY or first.name not in CAUSE_SHORT:
        return ""
    if event.subject.kind is AlertKind.QUIET_PROBE:
        return ""  # the kind says it already
    return f" Likely {CAUSE_SHORT[first.name]}."


def first_check(event: AlertEvent) -> str:
    """The first thing to look at."""
    first = event.causes[0] if event.causes else None
    if first is not None and first.share >= LIKELY and first.name in FIRST_CHECK_OF:
        return FIRST_CHECK_OF[first.name]
    return FIRST_CHECK[event.subject.kind]


def evidence_words(event: AlertEvent) -> str:
    """Why the likeliest cause is thought so; never a bare label."""
    first = event.causes[0] if event.causes else None
    if first is None or not first.evidence:
        return ""
    return f" Why: {'; '.join(first.evidence)}."


def title(event: AlertEvent, tank_name: str) -> str:
    """A message's title."""
    kind = KIND_WORDS[event.subject.kind]
    if event.event in (Event.RETURNED, Event.CLEARED):
        return f"{tank_name}: {kind} is over"
    start = "URGENT " if event.priority is Priority.URGENT else ""
    return f"{start}{tank_name}: {kind}"


def text(event: AlertEvent, tank_name: str, outlook: Outlook, now_ms: int, extra: str = "") -> str:
    """A message's text; its first 160 characters say tank, value, limit, trend, time left, first thing to check."""
    subject = event.subject
    first = first_check(event)
    likely, why = cause_words(event), evidence_words(event)
    if _cut_off(event):
        kind = KIND_WORDS[subject.kind]
        return f"{tank_name}: {kind} had stood for {_stood(event)} where these readings end; see what came later."
    if event.event in (Event.RETURNED, Event.CLEARED):
        now = f" Now {amount(event.value, subject.quantity)}." if event.value is not None and subject.quantity else ""
        return f"{tank_name}: {KIND_WORDS[subject.kind]} is over.{now} It stood for {_stood(event)}."
    if subject.tank is None and subject.kind in SIDES and event.causes:
        many, *rest = event.causes[0].evidence
        beside = f" Why: {'; '.join(rest)}." if rest else ""
        return f"{tank_name}: {KIND_WORDS[subject.kind]}, {many}.{likely} {first}{beside}"
    if subject.quantity is None or event.value is None:
        since = duration((now_ms - event.since_ms) / 1000)
        return f"{tank_name}: {KIND_WORDS[subject.kind]} for {since}{extra}.{likely} {first}{why}"
    head = f"{tank_name}: {MEANING[subject.quantity].label} {amount(event.value, subject.quantity)}"
    if event.limit is not None and not _ahead(event, event.value, event.limit):
        side = "below" if event.value < event.limit else "above"
        head += f", {side} {brief(event.limit, subject.quantity)}"
    doubt = f" This reading is suspect: {event.doubt}." if event.doubt else ""
    if subject.kind in CHANGES:
        head, likely, why, doubt = f"{head}, {event.doubt}", "", "", ""
    return _fitted(f"{head}{extra}.", outlook, subject.quantity, likely, first) + f"{why}{doubt}"


def _cut_off(event: AlertEvent) -> bool:
    """Whether late readings end while something stands: then nobody knows that it was over."""
    ended = event.subject.past and event.event is Event.CLEARED and event.value is None
    return ended and event.subject.kind is not AlertKind.NOT_KNOWN


def _fitted(head: str, outlook: Outlook, quantity: Quantity, likely: str, first: str) -> str:
    """All that has to be read at once in the first 160 characters: what can wait stands behind the first check."""
    interval = interval_words(outlook)
    said = ""
    for inside, before in ((True, likely), (False, likely), (False, "")):
        trend = trend_words(outlook, quantity, interval=inside)
        said = f"{head} {trend[0].upper()}{trend[1:]}." if trend else head
        said += before
        if len(said) + 1 + len(first_thing(first)) <= FIRST_READ:
            break
    behind = (f" {interval}." if interval and not inside else "") + ("" if before else likely)
    return f"{said} {first}{behind}"


def first_thing(first: str) -> str:
    """The first thing of a first check: its question, or its first clause."""
    ends = [place for mark in "?,.;" if (place := first.find(mark)) >= 0]
    return first[: min(ends) + 1] if ends else first


def _ahead(event: AlertEvent, value: float, limit: float) -> bool:
    """Whether the limit has not been reached yet: the forecast raised the alert."""
    return (value - limit) * SIDES.get(event.subject.kind, 0) < 0


def late(event: AlertEvent, now_ms: int) -> str:
    """What to add to a message about water of a time that is over."""
    began = duration((now_ms - event.since_ms) / 1000)
    return f"Found late, in readings that arrived only now; it began {began} ago. The room page says how it is now."


def _stood(event: AlertEvent) -> str:
    return duration((event.time_ms - event.since_ms) / 1000)
