"""Words that pages and messages share: what an alert is called, how a length of time is said.

Must not do: make sentences (``api/judge/words.py``) or know a screen.
"""

from __future__ import annotations

from api.domain.alert import AlertKind

KIND_WORDS = {
    AlertKind.HEAT: "heat",
    AlertKind.COLD: "cold",
    AlertKind.LOW_OXYGEN: "low oxygen",
    AlertKind.QUIET_PROBE: "probe quiet",
    AlertKind.QUIET_ROOM: "whole room quiet",
    AlertKind.DATED_AHEAD: "readings dated ahead",
    AlertKind.NOT_KNOWN: "water not known",
    AlertKind.OUTSIDE_CARE: "outside its care range",
    AlertKind.CALIBRATION_DUE: "calibration due",
    AlertKind.SOFT_AND_HARD: "soft and hard animals together",
    AlertKind.MOTHER_STAYS: "mother with hatched young",
    AlertKind.NOT_DELIVERED: "messages not delivered",
    AlertKind.CHANGE_IN_HOUR: "changing too fast",
    AlertKind.CHANGE_IN_DAY: "changed too much in a day",
}


def duration(seconds: float) -> str:
    """A length of time as a keeper says it: "40 s", "12 min", "3 h 20 min", "2 days"."""
    if seconds < 90:
        return f"{max(0, round(seconds))} s"
    minutes = round(seconds / 60)
    if minutes < 60:
        return f"{minutes} min"
    hours, minutes = divmod(minutes, 60)
    if hours < 36:
        return f"{hours} h {minutes} min" if minutes else f"{hours} h"
    return f"{round((hours * 60 + minutes) / 1440)} days"
