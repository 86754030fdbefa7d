"""Summaries of readings over spans of time, as the reading store gives them out. Must not do: compute."""

from __future__ import annotations

from dataclasses import dataclass

KeptSpan = tuple[int, int, float, float | None, float | None, int]
"""A kept summary: start_ms, how many usable readings, their sum, lowest, highest, how many flagged."""


@dataclass(frozen=True, slots=True)
class Summary:
    """One span of a channel. ``count`` readings were usable (flags 1 to 3); ``flagged`` carry 3, 4 or 9."""

    start_ms: int
    count: int
    mean: float | None
    low: float | None
    high: float | None
    flagged: int
