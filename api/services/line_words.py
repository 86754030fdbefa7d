"""One tank's line of words on the room page, and its place in the order. Pure.

Must not do: call a tank fine that nobody has judged.
"""

from __future__ import annotations

from collections.abc import Sequence

from api.domain.alert import PRIORITY_ORDER, AlertKind, AlertState
from api.domain.band import Band, Side
from api.domain.quantity import MEANING, Quantity
from api.domain.words import KIND_WORDS, duration
from api.judge.outlook import Outlook
from api.services.answers import AlertNow, Latest

WORTH_SAYING_S = 12 * 3600.0
"""Time left beyond this is not said. [s]"""
STANDING = frozenset({AlertState.UNACKNOWLEDGED, AlertState.ACKNOWLEDGED})


def tank_words(alerts: Sequence[AlertNow], outlooks: Sequence[tuple[Latest, Outlook]], band: Band, now_ms: int) -> str:
    """The most pressing thing to know, in a few words."""
    soonest = _soonest(outlooks)
    said = [_alert_words(alert, outlooks, now_ms) for alert in _in_order(alerts) if alert.state in STANDING]
    if soonest is not None and not said:
        said.append(_heading(*soonest))
    if said:
        return "; ".join(dict.fromkeys(said))
    if any(alert.state is AlertState.RETURNED_UNACKNOWLEDGED for alert in alerts):
        kinds = {alert.kind for alert in alerts}
        return f"{' and '.join(KIND_WORDS[kind] for kind in sorted(kinds))} is over, not acknowledged yet"
    outside = [_outside(latest) for latest, _ in outlooks if latest.band not in (Band.TARGET, Band.UNKNOWN)]
    if outside:
        return "; ".join(outside)
    return "water not known" if band is Band.UNKNOWN else "in its target band"


def urgency(alerts: Sequence[AlertNow], band: Band, left_s: float | None) -> tuple[int, float]:
    """Sort key: standing alerts by priority and state, then time left, then band; smaller is more urgent."""
    standing = [alert for alert in alerts if alert.state in STANDING]
    if standing:
        first = min(PRIORITY_ORDER[a.priority] * 2 + (a.state is AlertState.ACKNOWLEDGED) for a in standing)
        return first, left_s if left_s is not None else 1e9
    if left_s is not None and left_s < WORTH_SAYING_S:
        return 6, left_s
    if alerts:
        return 7, 0.0
    order = {Band.DANGER: 8, Band.OUTSIDE: 9, Band.UNKNOWN: 10, Band.TOLERABLE: 11, Band.TARGET: 12}
    return order[band], 0.0


def _in_order(alerts: Sequence[AlertNow]) -> list[AlertNow]:
    return sorted(alerts, key=lambda alert: (PRIORITY_ORDER[alert.priority], alert.raised_ms))


def _alert_words(alert: AlertNow, outlooks: Sequence[tuple[Latest, Outlook]], now_ms: int) -> str:
    if alert.kind is AlertKind.QUIET_PROBE:
        return f"probe quiet for {duration((now_ms - alert.since_ms) / 1000)}"
    for latest, outlook in outlooks:
        if latest.quantity is alert.quantity and latest.probe == alert.probe:
            if outlook.left_s is not None:
                return _heading(latest, outlook)
            moving = _moving(outlook)
            return f"{_outside(latest)}{', ' + moving if moving else ''}"
    return KIND_WORDS[alert.kind]


def _soonest(outlooks: Sequence[tuple[Latest, Outlook]]) -> tuple[Latest, Outlook] | None:
    ahead = [
        (latest, outlook)
        for latest, outlook in outlooks
        if outlook.left_s is not None and outlook.left_s < WORTH_SAYING_S and _worth_saying(latest)
    ]
    return min(ahead, key=lambda pair: pair[1].left_s or 0.0, default=None)


def _worth_saying(latest: Latest) -> bool:
    """A value inside its target band drifts about all day; it is news only once it has left it."""
    return latest.band is not Band.TARGET


def _heading(latest: Latest, outlook: Outlook) -> str:
    return f"{_name(latest.quantity)} {_moving(outlook)}, {duration(outlook.left_s or 0.0)} left{_between(outlook)}"


def _between(outlook: Outlook) -> str:
    """The 80 % interval of the time left, to the nearest ten minutes."""
    if outlook.low_s is None:
        return ""
    low, high = (None if one is None else duration(max(60.0, _about(one))) for one in (outlook.low_s, outlook.high_s))
    return f" ({low} to {high or 'never'})"


def _about(seconds: float) -> float:
    step = 300.0 if seconds < 7200.0 else 600.0
    return seconds if seconds < 600.0 else round(seconds / step) * step


def _moving(outlook: Outlook) -> str:
    rate = outlook.trend_per_hour
    if rate is None:
        return ""
    return "steady" if rate == 0 else ("falling" if rate < 0 else "rising")


def _outside(latest: Latest) -> str:
    if latest.quantity is Quantity.TEMPERATURE:
        word = "warm" if latest.side is Side.HIGH else "cool"
        strong = "too warm" if latest.side is Side.HIGH else "too cold"
        return strong if latest.band in (Band.OUTSIDE, Band.DANGER) else f"a little {word}"
    side = "high" if latest.side is Side.HIGH else "low"
    if latest.band is Band.TARGET:
        return f"{_name(latest.quantity)} back in target"
    return (
        f"{_name(latest.quantity)} {side}"
        if latest.band is not Band.TOLERABLE
        else f"{_name(latest.quantity)} a little {side}"
    )


def _name(quantity: Quantity) -> str:
    return "oxygen" if quantity is Quantity.OXYGEN_SATURATION else MEANING[quantity].label
