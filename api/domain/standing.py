"""Which parts of a process hang, and how often a service manager wants to hear of it (sd_watchdog_enabled(3)).

Must not do: take trouble that a part tells of itself, such as a full disk, for hanging: a new start cures only that.
"""

from __future__ import annotations

from collections.abc import Mapping

LATE_PERIODS = 2.0
"""A part hangs when it is overdue by so many of the watchdog's periods."""


def watchdog_period_s(environment: Mapping[str, str], process_id: int) -> float | None:
    """How often at least this process must say that it is alive; None when nobody asks it."""
    period_us = environment.get("WATCHDOG_USEC", "")
    meant_for = environment.get("WATCHDOG_PID") or str(process_id)
    if not (period_us.isascii() and period_us.isdigit()) or meant_for != str(process_id):
        return None
    return int(period_us) / 1e6 or None


def hanging(late_s: Mapping[str, float], period_s: float) -> list[str]:
    """The parts that hang, in words. ``late_s``: by how much each is overdue; infinite for one that has ended."""
    return [
        f"{part} has ended" if late == float("inf") else f"{part} has hung for {late:.0f} s"
        for part, late in late_s.items()
        if late > LATE_PERIODS * period_s
    ]
