"""Trend and time left by a straight line through the last minutes, where no forecast runs yet.

Must not do: forecast (``outlooks.py``).
"""

from __future__ import annotations

from dataclasses import replace

from api.domain.outlook import Outlook
from api.domain.quantity import Quantity
from api.judge.outlook import look_ahead
from api.services.plan import RoomPlan
from api.storage.base import Store

TREND_MS = 2_400_000
"""The past a straight line is laid through. [ms]"""
LEAST_PER_HOUR = {Quantity.TEMPERATURE: 0.1, Quantity.OXYGEN: 0.1, Quantity.OXYGEN_SATURATION: 1.0}
"""Slower changes are called steady: judgement, from probe noise."""


def straight_line(
    store: Store, plan: RoomPlan, probe: str, quantity: Quantity, now_ms: int, value: float | None
) -> Outlook:
    """Trend and time left of one channel from its 5-minute summaries and its newest value."""
    spans = store.readings.summaries(probe, quantity, now_ms - TREND_MS, now_ms + 1, 300, 300_000)
    points = [
        ((span.start_ms + min(now_ms, span.start_ms + 300_000)) // 2, span.mean)
        for span in spans
        if span.mean is not None
    ]
    care = plan.channel(probe, quantity).care
    return look_ahead(points, care, LEAST_PER_HOUR.get(quantity, 0.0), value)


def not_behind(outlook: Outlook, value: float | None) -> Outlook:
    """Without the time left to a limit that the newest value has passed already: means lag behind fast water."""
    rate, limit = outlook.trend_per_hour, outlook.limit
    if rate is None or limit is None or value is None or (limit - value) * rate > 0:
        return outlook
    return replace(outlook, limit=None, left_s=None, low_s=None, high_s=None, danger=None, tolerable=None)
