"""Where a value is heading: its slope, the limit ahead and the time left, with an interval.

Must not do: reckon (``api/judge/outlook.py``, ``api/judge/first_order.py``).
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class TimeTo:
    """Seconds until a limit: median and 80 % interval; ``high_s`` None: perhaps never. ``odds``: it is reached [1]."""

    limit: float
    left_s: float
    low_s: float
    high_s: float | None
    odds: float


@dataclass(frozen=True, slots=True)
class Outlook:
    """Slope per hour (None: no trend can be told), and the limit it heads to with the seconds left, if any.

    ``low_s`` to ``high_s`` is the 80 % interval of ``left_s``; ``high_s`` None with ``low_s`` set: perhaps never.
    ``danger`` and ``tolerable``: the same for both limits ahead. ``rest`` is the value it tends to, where known.
    """

    trend_per_hour: float | None
    limit: float | None
    left_s: float | None
    low_s: float | None = None
    high_s: float | None = None
    danger: TimeTo | None = None
    tolerable: TimeTo | None = None
    rest: float | None = None
    rate_per_h: float | None = None


NOTHING = Outlook(None, None, None)
