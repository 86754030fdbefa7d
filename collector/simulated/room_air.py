"""The air of the room: a day's rise and fall, slower weather, and what is left when the heating fails.

Pure functions of time; must not read a clock.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from collector.simulated.oxygen import Array

HOUR_MS, DAY_MS = 3_600_000, 86_400_000


@dataclass(frozen=True, slots=True)
class RoomAir:
    """Air of a heated room: mean, half swing of a day, half swing of slow weather; all judgement.

    ``hours_ahead`` is the room's clock against UTC [h]; ``slow_h`` is how fast the air follows its heating.
    """

    mean_c: float = 24.0
    swing_c: float = 1.6
    weather_c: float = 0.35
    warmest_h: float = 15.0
    hours_ahead: float = 0.0
    slow_h: float = 1.5
    seed: int = 7

    def hour(self, time_ms: Array) -> Array:
        """Hour of the room's day. [h]"""
        hour: Array = (time_ms / HOUR_MS + self.hours_ahead) % 24.0
        return hour

    def target_c(self, time_ms: Array) -> Array:
        """What the air tends to, with heating on. [degC]"""
        day = self.swing_c * np.cos((self.hour(time_ms) - self.warmest_h) * (2 * np.pi / 24.0))
        phases = np.random.default_rng(abs(self.seed)).uniform(0, 2 * np.pi, 3)
        days = time_ms / DAY_MS
        # Three periods without a common multiple: no two days alike, yet a function of time alone.
        weather = sum(
            np.sin(2 * np.pi * days / period + phase) for period, phase in zip((2.3, 3.7, 6.1), phases, strict=True)
        )
        target: Array = self.mean_c + day + self.weather_c * weather
        return target
