"""Probes as pages show them: what they say, how they were compared, how far they drift, and when they are due.

Must not do: decide whether a probe can be believed; flags and due times are given.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any

from api.domain.calibration import OXYGEN_ONLY, CalibrationKind, Line
from api.domain.checks import CheckLimits
from api.domain.quantity import MEANING, Quantity
from api.services.probes import ChannelNow, Compared, ProbeNow
from dashboard.clock import Clock, Moment
from dashboard.theme import Theme
from dashboard.wall_clock import WallClock
from dashboard.words import count

FRESH_MS = 600_000
"""What a probe said longer ago is shown with its time."""
KIND_TITLES = {
    CalibrationKind.OFFSET: "offset",
    CalibrationKind.OFFSET_AND_SLOPE: "offset and slope",
    CalibrationKind.AIR_SATURATION: "at air saturation",
    CalibrationKind.ZERO_POINT: "zero point",
}
LIMIT_WORDS = {
    "fail_low": "cannot be below",
    "suspect_low": "unlikely below",
    "suspect_high": "unlikely above",
    "fail_high": "cannot be above",
    "spike_suspect": "spike: suspect from",
    "spike_fail": "spike: fails from",
    "rate_suspect_per_h": "change an hour: suspect from",
    "rate_fail_per_h": "change an hour: fails from",
    "noise": "a change that means nothing",
    "flat_tolerance": "flat line: the same within",
    "flat_suspect_s": "flat line: suspect after, s",
    "flat_fail_s": "flat line: fails after, s",
    "flat_still_s": "flat line of a probe that repeats itself anyway: suspect after, s",
    "gap_s": "gap: silence longer than, s",
    "attenuated_window_s": "attenuated signal: looked at over, s",
    "attenuated_suspect": "attenuated signal: suspect when it moves less than",
    "attenuated_fail": "attenuated signal: fails when it moves less than",
    "attenuated_least": "attenuated signal: readings needed",
    "company_rate_per_h": "two probes: a change an hour worth comparing",
    "company_change": "two probes: the other must move by",
    "company_age_s": "two probes: the other's reading is of use for, s",
}


@dataclass(frozen=True, slots=True)
class CalibrationRow:
    """One comparison. ``off`` is how far the probe was off when it was compared."""

    id: int
    kind: str
    start: Moment
    said: str
    true: str
    off: str
    line: str
    person: str
    note: str
    withdrawn: str


@dataclass(frozen=True, slots=True)
class ChannelView:
    """One quantity of a probe, ready to show."""

    quantity: Quantity
    label: str
    unit: str
    number: str
    said: str
    said_field: str
    said_at: Moment | None
    old: bool
    due: str
    overdue: bool
    limits: tuple[tuple[str, str, bool], ...]
    rows: tuple[CalibrationRow, ...]
    charted: bool
    oxygen: bool
    kinds: tuple[CalibrationKind, ...]


def channel_view(now: ChannelNow, clock: Clock) -> ChannelView:
    """One quantity of a probe."""
    meaning = MEANING[now.quantity]
    digits = meaning.decimals + 1
    heard = now.said_ms is not None and now.said_ms >= 0
    return ChannelView(
        quantity=now.quantity,
        label=meaning.label,
        unit=meaning.unit_label,
        number="" if now.value is None else f"{now.value:.{digits}f}",
        said="" if now.said is None else f"{now.said:.{digits}f}",
        said_field="" if now.said is None else f"{now.said:.{digits + 1}f}",
        said_at=clock.moment(now.said_ms) if heard and now.said_ms is not None else None,
        old=heard and now.said_ms is not None and clock.now_ms - now.said_ms > FRESH_MS,
        due=due_words(now, clock),
        overdue=now.due_ms is not None and now.due_ms < clock.now_ms,
        limits=tuple(_limits(now.limits, now.own_limits)),
        rows=tuple(_row(one, clock, digits) for one in reversed(now.compared)),
        charted=sum(one.off is not None for one in now.compared) > 0,
        oxygen=now.quantity in (Quantity.OXYGEN, Quantity.OXYGEN_SATURATION),
        kinds=tuple(
            kind
            for kind in CalibrationKind
            if kind not in OXYGEN_ONLY or now.quantity in (Quantity.OXYGEN, Quantity.OXYGEN_SATURATION)
        ),
    )


def due_words(now: ChannelNow, clock: Clock) -> str:
    """When a probe should be compared again."""
    if now.due_ms is None:
        often = f"; every {now.every_days:g} days is asked for" if now.every_days is not None else ""
        return f"never compared{often}"
    days = (now.due_ms - clock.now_ms) / 86_400_000
    if days < 0:
        return f"due for {count(max(1, round(-days)), 'day')}"
    return f"due in {count(round(days), 'day')}"


def probe_line(now: ProbeNow, clock: Clock) -> dict[str, Any]:
    """One line of the list of probes."""
    views = [channel_view(one, clock) for one in now.channels]
    return {
        "id": now.id,
        "tank": now.tank_name,
        "tank_id": now.tank_id,
        "driver": now.probe.driver if now.probe is not None else "not in the room file",
        "channels": views,
    }


def _limits(limits: CheckLimits, own: Sequence[str]) -> list[tuple[str, str, bool]]:
    values = ((field.name, getattr(limits, field.name)) for field in fields(limits))
    return [(LIMIT_WORDS[name], f"{value:g}", name in own) for name, value in values if value is not None]


def _row(one: Compared, clock: Clock, digits: int) -> CalibrationRow:
    given = one.entry.calibration
    pairs = [(given.said, given.expected)]
    if given.said_2 is not None and given.expected_2 is not None:
        pairs.append((given.said_2, given.expected_2))
    withdrawn = ""
    if one.entry.withdrawn_ms is not None:
        withdrawn = f"withdrawn by {one.entry.withdrawn_by}, {clock.moment(one.entry.withdrawn_ms).text}"
    return CalibrationRow(
        id=one.entry.id,
        kind=KIND_TITLES[given.kind],
        start=clock.moment(given.from_ms),
        said=" and ".join(f"{said:.{digits}f}" for said, _ in pairs),
        true=" and ".join(f"{true:.{digits}f}" for _, true in pairs),
        off="" if one.off is None else f"{one.off:+.{digits}f}".replace("-", "\N{MINUS SIGN}"),
        line="" if one.line is None else line_words(one.line),
        person=given.person,
        note=given.note,
        withdrawn=withdrawn,
    )


def line_words(line: Line) -> str:
    """How a value is made of what the probe said."""
    scaled = "said" if line.slope == 1.0 else f"{line.slope:.4g} × said"
    if abs(line.offset) < 5e-4:
        return scaled
    return f"{scaled} {'+' if line.offset > 0 else chr(0x2212)} {abs(line.offset):.3g}"


def drift_figure(now: ChannelNow, clock: Clock, theme: Theme) -> dict[str, Any]:
    """How far the probe was off at each comparison, as it was calibrated before."""
    points = [(one.entry.calibration.from_ms, one.off) for one in now.compared if one.off is not None]
    start_ms, end_ms = min((t for t, _ in points), default=clock.now_ms), clock.now_ms
    margin_ms = max(3_600_000, (end_ms - start_ms) // 20)
    wall = WallClock(clock, start_ms - margin_ms, end_ms + margin_ms)
    meaning = MEANING[now.quantity]
    axis = {"gridcolor": theme.faint, "linecolor": theme.faint, "fixedrange": True, "griddash": "dot"}
    most = 1.3 * max((abs(off) for _, off in points), default=0.0) or 10.0**-meaning.decimals
    hover = f"off by %{{y:+.{meaning.decimals + 1}f}} {meaning.unit_label}<extra></extra>"
    return {
        "data": [
            {
                "type": "scatter",
                "mode": "lines+markers",
                "x": [wall.text(t) for t, _ in points],
                "y": [off for _, off in points],
                "line": {"color": theme.lines[0], "width": 1.5, "dash": "dot"},
                "marker": {"symbol": "diamond", "size": 9, "color": theme.lines[0]},
                "hovertemplate": hover,
            }
        ],
        "layout": {
            "paper_bgcolor": theme.paper,
            "plot_bgcolor": theme.paper,
            "font": {"color": theme.ink, "size": 13, "family": "system-ui, sans-serif"},
            "margin": {"l": 50, "r": 10, "t": 12, "b": 36},
            "height": 220,
            "showlegend": False,
            "dragmode": False,
            "hoverlabel": {"bgcolor": theme.paper, "font": {"color": theme.ink}},
            "xaxis": axis
            | {"type": "date", "nticks": 5, "range": [wall.text(start_ms - margin_ms), wall.text(end_ms + margin_ms)]},
            "yaxis": axis | {"zeroline": True, "zerolinecolor": theme.ink, "range": [-most, most], "nticks": 5},
            "meta": {"title": f"off by, {meaning.unit_label}"},
        },
    }
