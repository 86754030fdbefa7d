"""What may have happened, from signs: each cause gathers points of evidence, each point with its sentence.

Points are natural logarithms of odds, so that they add up and shares follow. Numbers are judgement, tuned on the
simulated room; what each sign means stands beside it. Pure. Must not do: name a cause without saying why.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, log

from api.domain.cause import Cause, CauseName

AIR_OR_DEMAND = 2.1
"""Airstones fail more often than demand rises, and the fall's shape tells the rest: a logistic regression on nights of
the simulated room, from the first alert until an hour and a half later (ratio of the fall to the usual deficit, whether
it grows, for how long, whether it slows down, how suddenly it came)."""
GROWS = 0.4
"""Belief from which on a fall is said to grow. [1]"""
SUDDEN, LITTLE_BY_LITTLE = 0.75, 0.65
"""Shares of the last hour's fall in its last half that are told as evidence (judgement). [1]"""
TOO_SLOW = 0.4
"""Stopped air makes oxygen fall by at least so much of the usual deficit an hour at first. [1/h]"""
SLOWEST_AIR_MG_L_H = 0.38
"""Falls that were never quicker than this are more often a probe's than the water's (judgement). [mg/L/h]"""


@dataclass(frozen=True, slots=True)
class Signs:
    """What is seen of a tank at one moment; None where nothing is known.

    ``oxygen_*``: slope now and the steepest of this fall [mg/L/h], belief that the fall grows by itself and that it
    dies away slowly [1], minutes since it began, how far below its usual band, usual deficit to saturation [mg/L],
    share of the last hour's fall that came in its last half, and of that half's in its last quarter of an hour [1].
    ``heat_*``: slope [K/h], minutes since it began, how far beyond the usual band (negative: below) [K].
    ``others``: other tanks with readings; how many of them cool, warm, or lose oxygen beyond their usual now.
    ``flow_share``: flow now over its usual [1]. ``gradient_k``: top minus bottom beyond the usual [K].
    """

    oxygen_slope: float | None = None
    oxygen_steepest: float = 0.0
    oxygen_grows: float = 0.0
    oxygen_slow: float = 0.0
    oxygen_minutes: float = 0.0
    oxygen_below: float = 0.0
    oxygen_deficit: float | None = None
    oxygen_half: float = 0.5
    oxygen_quarter: float = 0.5
    heat_slope: float | None = None
    heat_minutes: float = 0.0
    heat_beyond: float = 0.0
    others: int = 0
    others_cool: int = 0
    others_warm: int = 0
    others_starve: int = 0
    flow_share: float | None = None
    gradient_k: float | None = None
    cooling_too: bool = False


Points = dict[CauseName, list[tuple[float, str]]]


def of_oxygen(signs: Signs) -> tuple[Cause, ...]:
    """Why oxygen falls, or is low."""
    points: Points = {
        CauseName.LOST_AIR: [(1.0, "")],
        CauseName.RISING_DEMAND: [(0.0, "")],
        CauseName.STAGNATION: [(-1.5, "")],
        CauseName.PROBE_DRIFTING: [(-1.0, "")],
        CauseName.POWER_CUT: [(-3.0, "")],
        CauseName.NOT_KNOWN: [(-1.0, "")],
    }
    slope = signs.oxygen_slope
    if slope is None and signs.oxygen_below > 0.3 and signs.oxygen_steepest < 0:
        slope = 0.5 * signs.oxygen_steepest  # it has levelled off by now; how it fell still tells
    if slope is not None and slope < 0:
        _fall(signs, slope, points)
    if signs.flow_share is not None:
        if signs.flow_share < 0.5:
            points[CauseName.STAGNATION].append((7.0, f"flow is {signs.flow_share:.0%} of its usual"))
        else:
            points[CauseName.STAGNATION].append((-2.0, ""))
    if signs.gradient_k is not None and signs.gradient_k > 0.4:
        points[CauseName.STAGNATION].append(
            (5.5, f"top and bottom differ by {signs.gradient_k:.1f} K more than usual: the water is not mixed")
        )
    if signs.cooling_too:
        points[CauseName.POWER_CUT].append((7.5, "the water cools at the same time: heater and air went together"))
    _together(signs, points)
    return _weigh(points)


def _fall(signs: Signs, slope: float, points: Points) -> None:
    """How it falls: at once or more and more, and how quickly beside what the air had made good so far."""
    minutes = signs.oxygen_minutes
    steepest = max(abs(slope), abs(signs.oxygen_steepest))
    below = f"{signs.oxygen_below:.1f} mg/L below its usual for a day" if signs.oxygen_below > 0.2 else ""
    growing = signs.oxygen_grows > GROWS
    demand, air = points[CauseName.RISING_DEMAND], points[CauseName.LOST_AIR]
    if signs.oxygen_deficit is not None:
        _air_or_demand(signs, abs(slope), steepest, signs.oxygen_deficit, points)
    hours = f"{minutes / 60:.1f} h" if minutes > 90 else f"{minutes:.0f} min"
    if growing:
        demand.append((0.0, f"falls faster and faster for {hours}"))
        air.append((0.0, f"falls faster and faster for {hours}, as when air weakens"))
    elif signs.oxygen_slow > 0.5:
        air.append((0.0, f"does not level off after {hours}: little exchange is left"))
    if steepest < SLOWEST_AIR_MG_L_H:
        text = f"never fell by more than {steepest:.2f} mg/L an hour, in a straight line"
        points[CauseName.PROBE_DRIFTING].append((3.2 if minutes > 90 else 1.0, text))
    elif abs(slope) < SLOWEST_AIR_MG_L_H and steepest < 1.5 * SLOWEST_AIR_MG_L_H and not growing and minutes > 90:
        text = f"falls by {abs(slope):.2f} mg/L an hour for {minutes / 60:.1f} h, in a straight line"
        points[CauseName.PROBE_DRIFTING].append((1.9, text))
    else:
        points[CauseName.PROBE_DRIFTING].append((-2.0, ""))
    if below:
        for name in (CauseName.LOST_AIR, CauseName.RISING_DEMAND, CauseName.PROBE_DRIFTING):
            points[name].append((0.0, below))


def _air_or_demand(signs: Signs, slope: float, steepest: float, deficit: float, points: Points) -> None:
    """Lost air or more demand, by the size and the shape of the fall."""
    demand, air = points[CauseName.RISING_DEMAND], points[CauseName.LOST_AIR]
    # without air oxygen falls by what the air gave until then: its rate times the usual deficit, no quicker
    ratio, hours = max(steepest / max(deficit, 0.1), 0.05), max(signs.oxygen_minutes, 5.0) / 60.0
    tilt = AIR_OR_DEMAND + log(ratio) + 2.5 * signs.oxygen_grows - 0.85 * log(hours)
    tilt += 1.5 * log(max(slope / steepest, 0.2)) - 4.8 * signs.oxygen_half - 1.7 * signs.oxygen_quarter
    demand.append((1.0 + tilt, ""))
    if signs.oxygen_half > SUDDEN:
        air.append((0.0, f"came suddenly: {min(signs.oxygen_half, 1.0):.0%} of the last hour's fall in half an hour"))
    elif signs.oxygen_half < LITTLE_BY_LITTLE:
        demand.append((0.0, f"came little by little: {signs.oxygen_half:.0%} of the last hour's fall in half an hour"))
    explained = 2.5 * max(deficit, 0.1)
    if steepest > explained:
        demand.append((0.0, f"falls by {steepest:.1f} mg/L an hour, more than lost air usually explains"))
    else:
        air.append((0.0, f"falls by {steepest:.1f} mg/L an hour, as lost air explains (up to {explained:.1f})"))
    if signs.oxygen_grows <= GROWS and ratio < TOO_SLOW:
        air.append((-1.0, ""))


def of_heat(signs: Signs) -> tuple[Cause, ...]:
    """Why the water is, or gets, too warm."""
    points: Points = {
        CauseName.HEATER_STUCK_ON: [(1.5, "")],
        CauseName.ROOM_HEATING: [(-0.5, "")],
        CauseName.NOT_KNOWN: [(-1.0, "")],
    }
    if signs.heat_slope is not None and signs.heat_slope > 0.05:
        text = f"rises by {signs.heat_slope:.1f} K an hour past its usual {_beyond(signs)}"
        points[CauseName.HEATER_STUCK_ON].append((1.0 if signs.heat_slope > 0.3 else 0.0, text))
    _together(signs, points)
    return _weigh(points)


def of_cold(signs: Signs) -> tuple[Cause, ...]:
    """Why the water is, or gets, too cold."""
    points: Points = {
        CauseName.HEATER_DEAD: [(1.5, "")],
        CauseName.ROOM_COOLING: [(-0.5, "")],
        CauseName.POWER_CUT: [(-2.0, "")],
        CauseName.NOT_KNOWN: [(-1.0, "")],
    }
    if signs.heat_slope is not None and signs.heat_slope < -0.03:
        text = f"falls by {-signs.heat_slope:.1f} K an hour past its usual {_beyond(signs)}"
        points[CauseName.HEATER_DEAD].append((0.5, text))
        points[CauseName.ROOM_COOLING].append((0.0, text))
    if signs.oxygen_slope is not None and signs.oxygen_slope < -0.3 and signs.oxygen_below > 0.2:
        points[CauseName.POWER_CUT].append((6.0, "oxygen falls at the same time: air and heater went together"))
    _together(signs, points)
    return _weigh(points)


def _beyond(signs: Signs) -> str:
    return f"by {abs(signs.heat_beyond):.1f} K" if abs(signs.heat_beyond) > 0.05 else "band"


def _together(signs: Signs, points: Points) -> None:
    """What other tanks do: together means the room, alone means the tank."""
    if signs.others < 2:
        return
    half = max(2.0, 0.5 * signs.others)
    cool, warm, starve = signs.others_cool, signs.others_warm, signs.others_starve
    if starve >= half:
        text = f"{starve} of {signs.others} other tanks lose oxygen as well"
        _add(points, CauseName.POWER_CUT, 8.5 if cool >= half else 7.5, text)
        _add(points, CauseName.RISING_DEMAND, -2.0, "")
    if cool >= half:
        text = f"{cool} of {signs.others} other tanks cool as well"
        _add(points, CauseName.ROOM_COOLING, 5.0, text)
        _add(points, CauseName.POWER_CUT, 1.0, text)
    if warm >= half:
        _add(points, CauseName.ROOM_HEATING, 5.0, f"{warm} of {signs.others} other tanks warm as well")
    if max(cool, warm, starve) <= 0.2 * signs.others:
        alone = f"none but this tank: {signs.others} others are as usual"
        for name in points:
            if name in (CauseName.ROOM_COOLING, CauseName.ROOM_HEATING, CauseName.POWER_CUT):
                points[name].append((-5.0, ""))
            elif name is not CauseName.NOT_KNOWN:
                points[name].append((0.0, alone))


def _add(points: Points, name: CauseName, many: float, text: str) -> None:
    if name in points:
        points[name].append((many, text))


def _weigh(points: Points) -> tuple[Cause, ...]:
    sums = {name: sum(many for many, _ in told) for name, told in points.items()}
    top = max(sums.values())
    whole = sum(exp(one - top) for one in sums.values())
    causes = [
        Cause(name, exp(sums[name] - top) / whole, tuple(text for _, text in told if text))
        for name, told in points.items()
    ]
    # a label without evidence is no cause
    causes = [one for one in causes if one.evidence or one.name is CauseName.NOT_KNOWN]
    return tuple(sorted((one for one in causes if one.share > 0.02), key=lambda one: -one.share))
