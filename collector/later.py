"""Readings that the service will have later, because its clock and theirs do not agree: offered again after a while.

Must not do: let one go; they stay in the spool, and a start of the collector offers all of them at once.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from collector.runs import Runs

FIRST_S, LONGEST_S = 5.0, 120.0
"""The wait doubles while it does not help. [s]"""


class Later:
    """Numbers of such readings, and why they wait in ``words``; used by the spool's writer thread alone."""

    def __init__(self, monotonic_s: Callable[[], float]) -> None:
        self._monotonic_s, self._runs = monotonic_s, Runs()
        self._wait_s, self._again_s, self._told_s = FIRST_S, 0.0, float("-inf")
        self.words = ""

    def add(self, numbers: Sequence[int], why: str) -> None:
        """These must wait."""
        now_s = self._monotonic_s()
        if not self._runs.runs:
            self._wait_s = min(LONGEST_S, 2 * self._wait_s) if now_s - self._told_s < 2 * LONGEST_S else FIRST_S
            self._again_s = now_s + self._wait_s
        self._runs.add(numbers)
        self._told_s = now_s
        count = sum(last - first + 1 for first, last in self._runs.runs)
        self.words = f"{count} readings wait, the service does not take them yet: {why}"

    def look(self) -> None:
        """When the wait is over all of them may be offered again; when they were taken there is nothing to tell."""
        now_s = self._monotonic_s()
        if self._runs.runs and now_s >= self._again_s:
            self._runs.clear()
            self._again_s = now_s + FIRST_S
        elif self.words and not self._runs.runs and now_s >= self._again_s:
            self.words = ""

    def past(self, number: int) -> int:
        """See ``Runs.past``."""
        return self._runs.past(number)

    def __contains__(self, number: int) -> bool:
        return number in self._runs

    def clear(self) -> None:
        """Their numbers mean nothing any more."""
        self._runs.clear()
        self.words = ""
