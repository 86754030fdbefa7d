"""How long alerts may rest, and what breaks a rest: pure rules, and the same rules in words for the pages.

States and "shelving is always timed": ISA-18.2 / IEC 62682 (from memory). The lengths are judgement.
Must not do: read a clock, or keep anything.
"""

from __future__ import annotations

from collections.abc import Iterable

from api.domain.alert import PRIORITY_ORDER, AlertState, Priority, Subject
from api.domain.errors import InputError
from api.domain.rest import STRENGTH, Rest
from api.domain.words import duration

MINUTE_MS = 60_000
WORK_MS = 30 * MINUTE_MS
"""How long "working on this tank" lasts. [ms]"""
LEAST_SHELF_MS = MINUTE_MS
MOST_SHELF_MS = {Priority.URGENT: 60 * MINUTE_MS, Priority.TODAY: 1440 * MINUTE_MS, Priority.NOTE: 10_080 * MINUTE_MS}
"""The longest shelving by priority: an hour, a day, a week. [ms]"""
STALE_MS = 86_400_000
"""An alert that stands longer is stale (ISA-18.2 clause 16.4: 24 h, from a public summary). [ms]"""
REPEAT_SPAN_MS, REPEATS = 30 * MINUTE_MS, 3
"""So many activations in such a span are "repeating": judgement for slow probes. [ms]"""
RULES = (
    "Shelved, suppressed and out of service alerts are judged and kept all the time; they are only not told.",
    "An urgent alert can be shelved for an hour at most, one for today for a day, a note for a week. A shelf ends by"
    " itself, and what still stands is told again.",
    "A shelved alert that becomes more urgent than it was ends its shelf and is told at once.",
    "Working on a tank lasts 30 minutes and keeps every alert of that tank quiet, urgent ones too: you are there. At"
    " the end all is looked at, and what is not back is told.",
    "Out of service has no end by itself. Nothing of it is told, urgent or not, so take the animals out first; it stays"
    " on the list until somebody brings it back.",
    "What concerns the whole room (power, room heat, no readings at all) is told even while a tank or probe rests.",
)
"""What keepers are told about rests."""


def shelf_until_ms(priority: Priority, minutes: float, now_ms: int) -> int:
    """When a shelf ends by itself.

    Raises InputError for a length this priority may not have.
    """
    most_ms = MOST_SHELF_MS[priority]
    if not LEAST_SHELF_MS <= minutes * MINUTE_MS <= most_ms:
        raise InputError(
            f"an alert that is {priority} can be shelved for 1 minute to {duration(most_ms / 1000)}, not for"
            f" {minutes:g} minutes; shelve it again at the end if that must be"
        )
    return now_ms + round(minutes * MINUTE_MS)


def is_over(rest: Rest, now_ms: int) -> bool:
    """Whether a rest's time is up."""
    return rest.until_ms is not None and now_ms >= rest.until_ms


def broken_by(rest: Rest, priority: Priority) -> bool:
    """Whether an alert of this priority ends the rest: one more urgent than when it was shelved does."""
    return rest.state is AlertState.SHELVED and PRIORITY_ORDER[priority] < PRIORITY_ORDER[rest.priority]


def resting_in(rests: Iterable[Rest], subject: Subject) -> Rest | None:
    """The rest a subject is in; the strongest of several."""
    found = [rest for rest in rests if rest.covers(subject)]
    return min(found, key=lambda rest: STRENGTH[rest.state], default=None)


def told_again(activations: int, priority: Priority) -> bool:
    """Whether an activation is told: of a repeating alert the one that makes it so, and every urgent one."""
    return activations <= REPEATS or priority is Priority.URGENT
