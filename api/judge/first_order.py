"""The approach of water to a rest value, followed reading by reading: level, slope and how fast the slope dies away.

Heat and oxygen both go as dx/dt = -k (x - rest), so that dx/dt itself falls as exp(-k t). A small bank of Kalman
filters, one a rate k, follows level and slope; what the readings say of k is in the bank's weights. A slope that
changes (a heater, an airline) is found by a two-sided cumulative sum of the surprises and learned anew. Pure, a fixed
amount of memory. Must not do: know an animal's limits, or believe a slope the noise could make.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, inf, log, sqrt

from api.domain.outlook import TimeTo

CUSUM_DRIFT, CUSUM_LIMIT = 0.6, 6.0
"""Page's test on standardised surprises: blind to less than 0.6, changed at 6 in sum; by chance once in some 10,000
readings (Page 1954; the average run length from memory of Siegmund's approximation, tried on the simulated room)."""
CLIP = 4.0
"""A surprise counts for four standard deviations at most, so that no single reading makes a change."""
POINTS = (-1.593, -0.967, -0.589, -0.282, 0.0, 0.282, 0.589, 0.967, 1.593)
"""Middles of nine equal parts of the normal distribution."""
GROWS_WIDE = 0.3
"""How far the slope of what gets worse and worse may differ from what is seen, as a share of it."""
EDGE = 0.17
"""The interval ends at these parts of the bank's times, so that 80 % hold: by itself the bank is too careful. This, the
share above and ``Nature.ahead`` were learned on the simulated room's nights for tuning, and hold for such nights."""
LAGS2 = 9.0
"""By then the level lags by about three standard deviations of a look; squared."""
SLOWEST_PER_H = 0.02
"""A slower rate, or one that grows, has no rest value that means anything."""
HOUR_MS = 3.6e6


@dataclass(frozen=True, slots=True)
class Nature:
    """How a quantity of tank water moves, in its own unit.

    ``rates_per_h`` and ``shares``: rates that occur and how often, before the readings speak; a negative
    rate stands for what gets worse and worse, such as air that weakens over hours; ``slope``: usual size of
    a new slope [unit/h]; ``wander``: random walk of the slope [unit/h per root hour]; ``surge``: of the level [unit per
    root hour]; ``step``: a change between two looks that no trend makes; ``least_per_h``: slower is called steady;
    ``wide``: how far the slope ahead may differ from the slope now, as a share of it; ``floor``: least noise of a look;
    ``ahead``: for each rate those it may go on with from now, each with its share (what grows does not grow for ever).
    """

    rates_per_h: tuple[float, ...]
    shares: tuple[float, ...]
    slope: float
    wander: float
    surge: float
    step: float
    least_per_h: float
    wide: float
    floor: float
    ahead: tuple[tuple[tuple[float, float], ...], ...]


class Approach:
    """Level and slope of one channel, fed with means of short spans. ``since_ms``: when the present slope began.

    ``steady``: the slope is none that matters, or none the readings are sure of.
    """

    __slots__ = (
        "_down", "_down_ms", "_drift", "_half_wander", "_hours", "_nature", "_odds", "_rates", "_states", "_surge",
        "_up", "_up_ms", "_wander", "_ways", "level", "looks", "since_ms", "slope", "slope_sd", "steady", "time_ms",
        "weights",
    )  # fmt: skip

    def __init__(self, nature: Nature) -> None:
        self._nature = nature
        self._rates = len(nature.rates_per_h)
        self.time_ms = self.since_ms = -1
        self._odds = [0.0] * self._rates
        self._ways = [[0.0] * 4 for _ in nature.rates_per_h]
        self._set_step(0.0)
        self._states = [[0.0] * 5 for _ in nature.rates_per_h]
        self.weights = list(nature.shares)
        self._up = self._down = 0.0
        self._up_ms = self._down_ms = 0
        self.level = self.slope = self.slope_sd = 0.0
        self.steady = True
        self.looks = 0

    def _set_step(self, hours: float) -> None:
        """What depends on the length of a step alone: wander of the slope, drift of the level by it, half of it, surge;
        and for each rate the share of the slope that is left, its reach [h], both squared.
        """
        nature = self._nature
        self._hours = hours
        self._wander = wander = nature.wander * nature.wander * hours
        self._drift, self._half_wander = wander * hours * hours / 3.0, wander * hours / 2.0
        self._surge = nature.surge * nature.surge * hours
        for place in range(self._rates):
            rate, way = nature.rates_per_h[place], self._ways[place]
            left = exp(-rate * hours)
            reach = (1.0 - left) / rate
            way[0], way[1], way[2], way[3] = left, reach, reach * reach, left * left

    def _begin_weights(self) -> None:
        for place in range(self._rates):
            self.weights[place] = self._nature.shares[place]

    def begin(self, time_ms: int, value: float, noise: float) -> None:
        """A new stretch: the level is known, the slope is not."""
        slope = self._nature.slope
        for place in range(self._rates):
            state = self._states[place]
            state[0], state[1], state[2], state[3], state[4] = value, 0.0, noise * noise, 0.0, slope * slope
        self._begin_weights()
        self._up = self._down = 0.0
        self.time_ms = self.since_ms = time_ms
        self.looks = 0
        self._sum_up()

    def take(self, time_ms: int, value: float, noise: float) -> bool:
        """One look: the mean of a short span, its standard deviation. True when a new slope was found to have begun."""
        if self.time_ms < 0:
            self.begin(time_ms, value, noise)
            return False
        before_ms, self.time_ms = self.time_ms, time_ms
        hours = (time_ms - before_ms) / HOUR_MS
        if hours != self._hours:
            self._set_step(hours)
        wander, drift, half_wander, surge = self._wander, self._drift, self._half_wander, self._surge
        noise2 = noise * noise
        surprise = total = 0.0
        weights, odds = self.weights, self._odds
        for place in range(self._rates):
            state, way, weight = self._states[place], self._ways[place], weights[place]
            left, reach, slope, cross, slope_var = way[0], way[1], state[1], state[3], state[4]
            level = state[0] + slope * reach
            var = state[2] + (2.0 * reach * cross + way[2] * slope_var + surge + drift)
            cross = left * (cross + reach * slope_var) + half_wander
            slope_var = way[3] * slope_var + wander
            whole = var + noise2
            root, off = sqrt(whole), value - level
            gain, slope_gain = var / whole, cross / whole
            state[0], state[1] = level + gain * off, slope * left + slope_gain * off
            state[2], state[3] = var * (1.0 - gain), cross * (1.0 - gain)
            state[4] = slope_var - slope_gain * cross
            z2 = off * off / whole
            likely = weight * exp(-0.5 * z2 if z2 < 16.0 else -8.0) / root
            odds[place] = likely
            total += likely
            surprise += weight * off / root
        if total > 0:
            for place in range(self._rates):
                share = odds[place] / total
                weights[place] = share if share > 0.002 else 0.002
        else:
            self._begin_weights()
        self.looks += 1
        changed = self._changed(before_ms, surprise, noise2)
        self._sum_up()
        return changed

    def _changed(self, before_ms: int, surprise: float, noise2: float) -> bool:
        """The two-sided cumulative sum; on a change the slope and its rate are unknown again."""
        surprise = -CLIP if surprise < -CLIP else CLIP if surprise > CLIP else surprise
        up, down = self._up + surprise - CUSUM_DRIFT, self._down - surprise - CUSUM_DRIFT
        if self._up <= 0.0:
            self._up_ms = before_ms
        if self._down <= 0.0:
            self._down_ms = before_ms
        self._up, self._down = up if up > 0.0 else 0.0, down if down > 0.0 else 0.0
        if up < CUSUM_LIMIT and down < CUSUM_LIMIT:
            return False
        self.since_ms = self._up_ms if up > down else self._down_ms
        self._up = self._down = 0.0
        self._begin_weights()
        slope = self._nature.slope
        for place in range(self._rates):
            state = self._states[place]
            state[4] = max(state[4], slope * slope)
            # while the change went unseen the level fell behind, and that is no slope
            state[2], state[3] = max(state[2], LAGS2 * noise2), 0.0
        self.looks = 0
        return True

    def _sum_up(self) -> None:
        whole = 0.0
        for place in range(self._rates):
            whole += self.weights[place]
        level = slope = var = 0.0
        for place in range(self._rates):
            state = self._states[place]
            share, steep = self.weights[place] / whole, state[1]
            level += share * state[0]
            slope += share * steep
            var += share * (state[4] + steep * steep)
        self.level, self.slope = level, slope
        spread = var - slope * slope
        self.slope_sd = sd = sqrt(spread) if spread > 0.0 else 0.0
        size = abs(slope)
        self.steady = size < self._nature.least_per_h or size < 2.0 * sd

    @property
    def rest(self) -> float:
        """Where it comes to rest."""
        whole, rest = sum(self.weights), 0.0
        for state, rate, weight in zip(self._states, self._nature.rates_per_h, self.weights, strict=True):
            rest += weight / whole * (state[0] + state[1] / max(rate, SLOWEST_PER_H))
        return rest

    def share_slower(self, rate_per_h: float) -> float:
        """Belief that the slope dies away more slowly than at this rate, or grows. [1]"""
        whole = sum(self.weights)
        return (
            sum(w for w, rate in zip(self.weights, self._nature.rates_per_h, strict=True) if rate < rate_per_h) / whole
        )

    def time_to(self, limit: float, now_ms: int | None = None) -> TimeTo | None:
        """Time from now (None: the newest look) until the limit is reached; None when that is not to be expected."""
        hours = self._crossings(limit)
        gone_h = 0.0 if now_ms is None else (now_ms - self.time_ms) / HOUR_MS
        return None if hours is None else summed_up(limit, [(max(0.0, one - gone_h), share) for one, share in hours])

    def _crossings(self, limit: float) -> list[tuple[float, float]] | None:
        """Hours to the limit and their weights, over slopes and rates that may be."""
        gap = limit - self.level
        if gap == 0.0 or self.slope * gap <= 0.0:
            return None
        nature, whole = self._nature, sum(self.weights) * len(POINTS)
        crossings: list[tuple[float, float]] = []
        for state, rate, onwards, weight in zip(
            self._states, nature.rates_per_h, nature.ahead, self.weights, strict=True
        ):
            ahead = limit - state[0]
            slope = state[1]
            near_h = min(12.0, ahead / slope) if slope * ahead > 0 else 12.0
            wide = nature.wide if rate > 0 else GROWS_WIDE
            spread = sqrt(state[4] + (wide * slope) ** 2 + nature.wander**2 * near_h / 3.0)
            for onward, part in onwards:
                share = part * weight / whole
                for point in POINTS:
                    pull = onward * ahead / one if (one := slope + point * spread) * ahead > 0 else inf
                    crossings.append((-log(1.0 - pull) / onward if pull < 1.0 else inf, share))
        return crossings

    def odds_within(self, limit: float, *hours: float) -> list[float]:
        """Probability that the limit is reached within so many hours, for each of them. [1]"""
        crossings = self._crossings(limit) or ()
        return [sum(share for one, share in crossings if one <= most) for most in hours]


def summed_up(limit: float, crossings: list[tuple[float, float]]) -> TimeTo | None:
    """Median and 80 % interval of weighted times [h]; None when the limit is more likely not reached at all."""
    crossings = sorted(crossings)
    odds = sum(share for hours, share in crossings if hours < inf)
    if odds < 0.5:
        return None
    marks = []
    gone = 0.0
    wanted = [EDGE, 0.5, 1.0 - EDGE]
    before_h, before = crossings[0][0], 0.0
    for hours, share in crossings:
        middle = gone + share / 2.0
        while wanted and middle >= wanted[0]:
            part = (wanted[0] - before) / (middle - before) if middle > before else 1.0
            if hours == inf:
                marks.append(before_h if wanted[0] <= gone else inf)
            else:
                marks.append(before_h + part * (hours - before_h))
            wanted.pop(0)
        gone += share
        before_h, before = hours, middle
    marks.extend([crossings[-1][0]] * len(wanted))
    low, median, high = marks
    if median == inf:
        return None
    low, high = min(low, median), max(high, median)  # rounding
    return TimeTo(limit, median * 3600.0, low * 3600.0, None if high == inf else high * 3600.0, odds)
