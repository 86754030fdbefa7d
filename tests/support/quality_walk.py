"""Readings one by one through the checks, and how each ended. Must not do: test."""

from __future__ import annotations

from collections.abc import Sequence

from api.domain.checks import CheckLimits
from api.domain.quantity import Quantity
from api.domain.reading import Flag
from api.judge.check_stream import Step, Stream

START_MS = 1_700_000_000_000


LIMITS = CheckLimits(
    fail_low=-5.0,
    fail_high=60.0,
    suspect_low=0.5,
    suspect_high=45.0,
    spike_suspect=0.6,
    spike_fail=5.0,
    rate_suspect_per_h=60.0,
    noise=0.2,
    gap_s=300.0,
)


def walk(
    values: Sequence[float | None],
    limits: CheckLimits = LIMITS,
    every_s: int = 60,
    quantity: Quantity = Quantity.TEMPERATURE,
) -> list[Step]:
    """Steps of a series with one interval."""
    stream = Stream(limits, quantity)
    return [stream.step(START_MS + place * every_s * 1000, value) for place, value in enumerate(values)]


def final(steps: list[Step], every_s: int = 60) -> list[tuple[Flag, str]]:
    """What has become of each in the end."""
    told = [(step.flag, step.reason) for step in steps]
    for step in steps:
        if step.revised is not None:
            told[(step.revised.time_ms - START_MS) // (every_s * 1000)] = (step.revised.flag, step.revised.reason)
    return told
