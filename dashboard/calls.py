"""What waits to be acknowledged, a tank at a time: the most urgent alert first, the tank's others beside it.

Must not do: decide which is more urgent (``alerts.standing_first`` did).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from dashboard.alerts import AlertView

MOST_BESIDE = 50
"""So many alerts of one tank are acknowledged together at most."""


@dataclass(frozen=True, slots=True)
class Call:
    """One tank's alerts, or one of the whole room."""

    first: AlertView
    others: tuple[AlertView, ...]


def calls_of(waiting: Sequence[AlertView]) -> tuple[Call, ...]:
    """In the order given; alerts of the whole room stand by themselves."""
    found: dict[str | int, list[AlertView]] = {}
    for alert in waiting:
        found.setdefault(alert.tank if alert.tank is not None else alert.id, []).append(alert)
    return tuple(Call(first, tuple(others[:MOST_BESIDE])) for first, *others in found.values())
