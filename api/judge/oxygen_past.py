"""What is remembered of one oxygen channel beside its forecast: how suddenly and how slowly it fell. Pure.

Must not do: say what that means (``causes.py``, ``probe_health.py``).
"""

from __future__ import annotations

from math import sqrt

from api.judge.channel_watch import ChannelWatch
from api.judge.fall_shape import FallShape
from api.judge.slow_fall import CELL_MS, SlowFall


class OxygenPast:
    """``per_mg_l``: so many of the channel's units are one mg/L."""

    __slots__ = ("per_mg_l", "shape", "slow")

    def __init__(self, per_mg_l: float) -> None:
        self.per_mg_l = per_mg_l
        self.shape, self.slow = FallShape(), SlowFall()

    def remember(self, watch: ChannelWatch, warm_c: float) -> None:
        """After a look at the level; ``warm_c``: the water's temperature, 0 where it is not known. [Cel]"""
        approach, per, noise = watch.approach, self.per_mg_l, 0.0
        if self.slow.closes(approach.time_ms):
            # how well a mean of twenty minutes is known
            noise = watch.noise / sqrt(max(1.0, CELL_MS / max(watch.every_ms, 1.0)))
        self.slow.add(approach.time_ms, approach.level / per, warm_c, noise / per, watch.disturbed_ms)
        self.shape.keep(approach)
