"""One channel as the forecast sees it: single odd readings put aside, spans averaged, noise and usual band learned.

Pure, a fixed amount of memory, a few microseconds a reading. Must not do: know limits or animals (``heading.py``).
"""

from __future__ import annotations

from collections import deque
from math import inf, log, sqrt

from api.judge.first_order import Approach, Nature

SPAN_MS = 60_000
"""Readings are averaged over spans of a minute."""
GAP_MS, GAP_READINGS = 1_200_000, 4
"""After a silence of 20 minutes and four readings the slope is unknown again."""
HOUR_MS = 3_600_000
USUAL_FROM_H, USUAL_UNTIL_H = 26, 2
HOURS_KEPT = USUAL_FROM_H + 1
"""What is usual is what was seen between 26 and 2 hours ago: a day's round, without what goes on now."""
SETTLE_MS = 1_200_000
"""After a jump that no trend makes (can, lifted probe) the water, or the probe, is given this long to settle."""

LONGER = 2.0
"""A run of one number means something when it is twice as long as any before (or two hours, while few are known)."""
COARSE = 0.65
"""A probe that repeats itself more often has coarse steps: it is left to the day-long test of ``check_defaults.py``."""
UNSEEN = 0.9
"""Until a probe has been seen to scatter it is taken for a coarse one."""
RESTLESS = 0.35
"""A probe that repeats itself less often than this scatters by more than its steps: its runs are chance."""
AWAY_MS = 43_200_000
"""A value that has not come back for half a day has a new home."""
SPIKES = 3
"""Single odd readings that make a probe unsteady (judgement)."""


class ChannelWatch:
    """Follows one channel. ``disturbed_ms``: the newest jump; ``away_ms``, ``jump_from``, ``jump_ms``: when it
    left, from where and in what time.
    """

    __slots__ = (
        "_band", "_count", "_first_ms", "_floor", "_grain", "_held", "_held_ms", "_last", "_last_ms", "_longest",
        "_nature", "_peak", "_same", "_same_odds", "_sum", "_sum_ms", "_usual_h", "_was", "_was_known", "approach",
        "away_ms", "disturbed_ms", "every_ms", "jump_from", "jump_ms", "noise2", "same_since_ms", "spikes",
        "usual_high", "usual_known", "usual_low",
    )  # fmt: skip

    def __init__(self, nature: Nature, every_s: float) -> None:
        self._nature, self.every_ms = nature, every_s * 1000.0
        self._floor = nature.floor
        self.noise2 = (2.0 * nature.floor) ** 2
        self._grain = 0.0
        self.approach = Approach(nature)
        self._band = [[-1.0, 0.0, 0.0] for _ in range(HOURS_KEPT)]
        self.spikes: deque[int] = deque(maxlen=32)
        self._usual_h = -1
        self.usual_known, self.usual_low, self.usual_high = False, 0.0, 0.0
        self._held_ms, self._held = -1, 0.0
        self._last_ms, self._last = -1, 0.0
        self._was_known, self._was = False, 0.0
        self.disturbed_ms = self.away_ms = -1
        self.jump_ms = 0
        self.jump_from = self._peak = 0.0
        self._same, self._same_odds, self.same_since_ms = 0, UNSEEN, -1
        self._longest = 3600.0 / max(every_s, 1.0)
        self._sum = self._sum_ms = 0.0
        self._count = self._first_ms = 0

    def take(self, time_ms: int, value: float) -> bool:
        """One believable reading. True when a span closed, so that there is something new to judge."""
        last_ms = self._last_ms
        if time_ms <= last_ms:
            return False
        self._learn_same(value)
        if last_ms >= 0 and time_ms - last_ms > GAP_MS and time_ms - last_ms > GAP_READINGS * self.every_ms:
            self._begin(time_ms, value)
            return False
        if self._held_ms >= 0:
            return self._after_odd(time_ms, value)
        # the least that can be odd is looked at first: it costs no root
        off = abs(value - self._last)
        if off > self._nature.step and last_ms >= 0 and off > self._odd_by(time_ms):
            self._held_ms, self._held = time_ms, value
            return False
        return self._usual(time_ms, value)

    def plain(self, time_ms: int, value: float) -> bool:
        """Whether a reading follows the last one without a gap, and neither is odd; most do."""
        last_ms = self._last_ms
        if not 0 <= last_ms < time_ms or self._held_ms >= 0:
            return False
        if time_ms - last_ms > GAP_MS and time_ms - last_ms > GAP_READINGS * self.every_ms:
            return False
        return abs(value - self._last) <= self._nature.step

    def take_plain(self, time_ms: int, value: float) -> bool:
        """``take``, of a plain reading."""
        self._learn_same(value)
        return self._usual(time_ms, value)

    def _odd_by(self, time_ms: int) -> float:
        minutes = (time_ms - self._last_ms) / 60_000.0
        return max(self._nature.step * min(1.0 + 0.15 * minutes, 3.0), 8.0 * sqrt(self.noise2), 2.5 * self._grain)

    def _after_odd(self, time_ms: int, value: float) -> bool:
        """A reading after one far off: either that one was alone, or everything has jumped."""
        held_ms, held = self._held_ms, self._held
        self._held_ms = -1
        if abs(value - self._last) <= self._odd_by(time_ms) and abs(value - self._last) < abs(value - held):
            self.spikes.append(held_ms)
            return self._usual(time_ms, value)
        settled = self.disturbed_ms < 0 or held_ms - self.disturbed_ms > SETTLE_MS
        if (self.came_back and settled) or held_ms - self.away_ms > AWAY_MS:
            self.jump_from, self._peak, self.away_ms = self._last, value, held_ms
            self.jump_ms = held_ms - self._last_ms
        elif abs(value - self.jump_from) > abs(self._peak - self.jump_from):
            self._peak = value
        self.disturbed_ms = time_ms
        self._begin(time_ms, value)
        return False

    @property
    def came_back(self) -> bool:
        """Whether the value is back where it jumped from, or never jumped."""
        way = self._peak - self.jump_from
        return self.away_ms < 0 or way == 0.0 or (self._last - self.jump_from) / way < 0.4

    def _begin(self, time_ms: int, value: float) -> None:
        self._last_ms, self._last, self._was_known = time_ms, value, False
        self._count, self._sum, self._sum_ms = 0, 0.0, 0.0
        self.approach.begin(time_ms, value, max(sqrt(self.noise2), self._floor))

    def _usual(self, time_ms: int, value: float) -> bool:
        last = self._last
        if self._was_known:
            self._learn_noise(value, last, self._was)
        self._was_known, self._was = True, last
        self._last_ms, self._last = time_ms, value
        if not self._count:
            self._first_ms = time_ms
        gone_ms = time_ms - self._first_ms
        self._count += 1
        self._sum += value
        self._sum_ms += gone_ms
        if gone_ms + self.every_ms * 0.75 < SPAN_MS:
            return False
        count = self._count
        mean, mean_ms = self._sum / count, self._first_ms + round(self._sum_ms / count)
        self._count, self._sum, self._sum_ms = 0, 0.0, 0.0
        if mean_ms <= self.approach.time_ms:
            return False
        noise = max(sqrt(self.noise2 / count), 0.29 * self._grain, self._floor)
        self.approach.take(mean_ms, mean, noise)
        self._remember(mean_ms, mean)
        return True

    def _learn_same(self, value: float) -> None:
        """How often this probe says the same twice, and how long it does so now."""
        if value == self._last:
            if not self._same:
                self.same_since_ms = self._last_ms
            self._same += 1
            return
        # a run counts for what is usual once it is over, and a long one (a stuck probe that was freed) only in part
        odds, same = self._same_odds, self._same
        if same:
            for _ in range(min(same, 20)):
                odds += 0.02 * (1.0 - odds)
            self._same = 0
        self._same_odds = odds - 0.02 * odds
        longest = 0.999 * self._longest
        self._longest = longest if longest > same else float(same)

    @property
    def same(self) -> int:
        """How often the newest number was said again."""
        return self._same

    @property
    def stuck_nats(self) -> float:
        """Evidence that the probe stands still: minus the log of the chance that a live one says the same so often."""
        if self._same < 2 or self._same_odds > COARSE:
            return 0.0
        if self._same_odds > RESTLESS and self._same <= LONGER * self._longest:
            return 0.0  # coarse steps in still water: it has said the same so long before
        return -self._same * log(max(self._same_odds, 0.004))

    def _learn_noise(self, value: float, last: float, was: float) -> None:
        step = abs(value - last)
        if 0.0 < step and (step < self._grain or self._grain == 0.0):
            self._grain = step
        bend, noise2 = value - 2.0 * last + was, self.noise2
        bend2, most = bend * bend / 6.0, 16.0 * noise2 + 1e-9
        self.noise2 = noise2 + 0.03 * ((bend2 if bend2 < most else most) - noise2)

    def _remember(self, time_ms: int, mean: float) -> None:
        """Keep the hour's extremes, unless the water was just disturbed."""
        if self.disturbed_ms >= 0 and time_ms - self.disturbed_ms < SETTLE_MS:
            return
        hour = time_ms // HOUR_MS
        kept = self._band[hour % HOURS_KEPT]
        if kept[0] != hour:
            kept[0], kept[1], kept[2] = float(hour), mean, mean
        elif mean < kept[1]:
            kept[1] = mean
        elif mean > kept[2]:
            kept[2] = mean

    def look_usual(self) -> bool:
        """Whether the usual hours are known: then their lowest and highest stand in ``usual_low``, ``usual_high``."""
        newest = self._last_ms // HOUR_MS
        if newest != self._usual_h:
            # hours that count are closed: the answer holds until the next hour begins
            known, low, high = False, inf, -inf
            first = max(0, newest - USUAL_FROM_H)
            for kept in self._band:
                if first <= kept[0] <= newest - USUAL_UNTIL_H:
                    known, low, high = True, min(low, kept[1]), max(high, kept[2])
            self.usual_known, self.usual_low, self.usual_high = known, low, high
            self._usual_h = newest
        return self.usual_known

    def usual(self) -> tuple[float, float] | None:
        """Lowest and highest of the usual hours; None while too little is known."""
        return (self.usual_low, self.usual_high) if self.look_usual() else None

    def leaves(self, least: float) -> int:
        """-1: below its usual band and falling; 1: above it and rising, by more than ``least`` or twice the noise."""
        approach = self.approach
        if approach.steady or not self.look_usual():
            return 0
        least = max(least, 2.0 * self.noise)
        if approach.level < self.usual_low - least and approach.slope < 0:
            return -1
        return 1 if approach.level > self.usual_high + least and approach.slope > 0 else 0

    @property
    def spiked_ms(self) -> int:
        """The newest odd reading of those that make a probe unsteady; -1 while it had fewer."""
        return max(self.spikes) if len(self.spikes) >= SPIKES else -1

    @property
    def doubts(self) -> bool:
        """Whether the newest reading stood off so far that the next one must say what it was."""
        return self._held_ms >= 0

    def renew(self, every_s: float) -> None:
        """After a past of means: single readings scatter more, and come at their own pace."""
        self.every_ms = every_s * 1000.0
        self.noise2 = max(self.noise2, (2.0 * self._floor) ** 2)
        self._grain, self._same, self._same_odds = 0.0, 0, UNSEEN
        self._longest = 3600.0 / max(every_s, 1.0)
        self.spikes.clear()
        self._held_ms = -1

    def odd(self, time_ms: int) -> None:
        """A reading the checks would not believe."""
        if not self.spikes or time_ms > self.spikes[-1]:
            self.spikes.append(time_ms)

    @property
    def noise(self) -> float:
        """Scatter of single readings, one standard deviation, in the quantity's unit."""
        return max(sqrt(self.noise2), 0.29 * self._grain, self._floor)

    @property
    def last(self) -> float:
        """The newest believable reading."""
        return self._last

    @property
    def last_ms(self) -> int:
        """When it was taken."""
        return self._last_ms
