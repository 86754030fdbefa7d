"""A set of whole numbers kept as runs, because numbers of readings that are done nearly always lie side by side.

Must not do: know what the numbers stand for.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable


class Runs:
    """Numbers, as first and last of each run, in order; no run touches the next."""

    def __init__(self) -> None:
        self.runs: list[tuple[int, int]] = []

    def add(self, numbers: Iterable[int]) -> None:
        """Put numbers in; those that are in already stay."""
        merged: list[tuple[int, int]] = []
        for first, last in sorted([*self.runs, *((number, number) for number in numbers)]):
            if merged and first <= merged[-1][1] + 1:
                merged[-1] = (merged[-1][0], max(last, merged[-1][1]))
            else:
                merged.append((first, last))
        self.runs = merged

    def past(self, number: int) -> int:
        """The last number of the run that goes on after ``number``; ``number`` itself when the next is not in."""
        place = bisect_right(self.runs, number + 1, key=lambda run: run[0]) - 1
        return max(number, self.runs[place][1]) if place >= 0 else number

    def __contains__(self, number: int) -> bool:
        place = bisect_right(self.runs, number, key=lambda run: run[0]) - 1
        return place >= 0 and number <= self.runs[place][1]

    def clear(self) -> None:
        """Take all out."""
        self.runs = []
