"""The words pages use for bands, flags, alerts and lengths of time: plain, calm, one word for one thing.

Must not do: decide what state anything is in.
"""

from __future__ import annotations

from api.domain.alert import AlertState, Priority
from api.domain.band import Band, Side
from api.domain.reading import Flag

BAND_WORDS = {
    Band.TARGET: "target",
    Band.TOLERABLE: "tolerable",
    Band.OUTSIDE: "outside",
    Band.DANGER: "danger",
    Band.UNKNOWN: "not known",
}
FLAG_WORDS = {
    Flag.GOOD: "good",
    Flag.NOT_EVALUATED: "not checked",
    Flag.SUSPECT: "suspect",
    Flag.FAIL: "failed its check",
    Flag.MISSING: "missing",
}
PRIORITY_WORDS = {Priority.URGENT: "urgent", Priority.TODAY: "today", Priority.NOTE: "note"}
STATE_WORDS = {
    AlertState.NORMAL: "over",
    AlertState.UNACKNOWLEDGED: "not acknowledged",
    AlertState.ACKNOWLEDGED: "acknowledged",
    AlertState.RETURNED_UNACKNOWLEDGED: "over, not acknowledged",
    AlertState.SHELVED: "shelved",
    AlertState.SUPPRESSED_BY_DESIGN: "suppressed by design: somebody works there",
    AlertState.OUT_OF_SERVICE: "out of service",
}
STEP_WORDS = {
    "raised": "raised",
    "escalated": "became more urgent",
    "acknowledged": "acknowledged",
    "returned": "over, not acknowledged yet",
    "cleared": "over",
    "told": "told",
    "acknowledgement_ran_out": "the acknowledgement ran out",
    "cannot_go": "cannot go",
    "reopened": "waits for somebody again",
    "shelved": "shelved",
    "suppressed_by_design": "suppressed: working on the tank",
    "out_of_service": "out of service",
    "rest_over": "no longer at rest",
    "told_now": "told",
    "held": "not told again: it came three times within half an hour",
    "found_late": "found late, in readings that arrived after the fact",
}


def band_words(band: Band, side: Side) -> str:
    """ "outside, low" and the like."""
    if side is Side.WITHIN or band in (Band.TARGET, Band.UNKNOWN):
        return BAND_WORDS[band]
    return f"{BAND_WORDS[band]}, {side}"


def count(number: int, one: str, many: str = "") -> str:
    """ "1 tank", "3 tanks"."""
    return f"{number} {one if number == 1 else many or one + 's'}"


def joined(parts: list[str]) -> str:
    """ "a", "a and b", "a, b and c"."""
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}" if parts else ""
