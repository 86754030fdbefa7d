"""The conditions report in words and tables: the methods paragraph, CSV rows, and one JSON body.

Must not do: compute.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from importlib.metadata import version
from typing import Any
from zoneinfo import ZoneInfo

from api.domain.band import Band
from api.domain.quantity import MEANING
from api.domain.tank import Tank
from api.domain.words import KIND_WORDS, duration
from api.services.animal_csv import written
from api.services.report import QuantityReport, Report, TankReport

COLUMNS = (
    "tank", "name", "care", "from", "to", "quantity", "unit", "probe", "derived", "span_s", "known", "mean", "sd",
    "median", "p05", "p95", "low", "high", "in_target", "in_tolerable", "outside", "in_danger", "readings", "flagged",
    "gaps", "longest_gap_h", "degree_days_above_0", "degree_days_molt_clock", "alerts",
)  # fmt: skip
MOST_DECIMALS = 3
"""A standard deviation is never said to be 0.0: it gets decimals until it is a number."""


def named(tank: Tank) -> str:
    """A tank's name, with its id where that says more."""
    return tank.id if tank.name in ("", tank.id) else f"{tank.name} ({tank.id})"


def methods(report: Report) -> str:
    """A paragraph for a methods section; one sentence or two a tank."""
    zone = ZoneInfo(report.zone)
    first, last = (datetime.fromtimestamp(one / 1000, zone) for one in (report.start_ms, report.end_ms - 1))
    spans = {one.span_s for tank in report.tanks for one in tank.quantities}
    minutes = " and ".join(f"{one // 60}-minute" for one in sorted(spans)) or "no"
    said = [
        f"Water conditions were recorded from {first:%d %B %Y} to {last:%d %B %Y} ({report.zone}) and are given as mean"
        f" ± standard deviation (5th to 95th percentile) of {minutes} means."
    ]
    said += [_tank_words(tank) for tank in report.tanks if tank.quantities]
    flagged = sum(one.flagged for tank in report.tanks for one in tank.quantities)
    total = flagged + sum(one.readings for tank in report.tanks for one in tank.quantities)
    said.append(
        f"Readings flagged by quality checks after QARTOD (suspect, failed or missing) were excluded: {flagged:,} of"
        f" {total:,} ({100 * flagged / max(1, total):.2f} %). Statistics by Intermolt {version('intermolt')}."
    )
    return " ".join(said)


def _tank_words(tank: TankReport) -> str:
    said = []
    for one in tank.quantities:
        c = one.conditions
        if one.derived or c.mean is None or c.sd is None or c.p05 is None or c.p95 is None:
            continue
        meaning = MEANING[one.quantity]
        d = _decimals(meaning.decimals, c.sd)
        unit = "" if meaning.unit_label == meaning.label else f" {meaning.unit_label}"
        words = f"{meaning.label} {c.mean:.{d}f} ± {c.sd:.{d}f}{unit} ({c.p05:.{d}f} to {c.p95:.{d}f}"
        words += f"; {100 * c.bands.get(Band.TARGET, 0.0):.0f} % of the time in target)" if c.bands else ")"
        said.append(f"{words}, known for {100 * c.known:.0f} % of the time")
    days = f"; {tank.degree_days:.0f} degree-days above 0 °C" if tank.degree_days is not None else ""
    days += "" if not days or tank.warmth_whole else " over the known time"
    compared = sum(1 for _ in tank.calibrations)
    probes = f"; {compared} calibration{'' if compared == 1 else 's'} of its probes on record" if compared else ""
    return f"{tank.tank.name}: {'; '.join(said)}{days}{probes}."


def _decimals(usual: int, sd: float | None) -> int:
    """As many as the quantity has, and more where its standard deviation would come out as 0."""
    least = max(1, usual)
    return next((d for d in range(least, MOST_DECIMALS + 1) if sd is None or round(sd, d) > 0), least)


def csv_text(report: Report) -> str:
    """A row a tank and quantity; times in UTC, shares from 0 to 1."""
    return written(COLUMNS, [_row(report, tank, one) for tank in report.tanks for one in tank.quantities])


def _row(report: Report, tank: TankReport, one: QuantityReport) -> tuple[object, ...]:
    c, meaning = one.conditions, MEANING[one.quantity]
    longest = max((gap.end_ms - gap.start_ms for gap in c.gaps), default=0) / 3.6e6
    return (
        tank.tank.id, tank.tank.name, tank.care, _iso(report.start_ms), _iso(report.end_ms), str(one.quantity),
        meaning.unit, one.probe, "yes" if one.derived else "no", one.span_s, *map(_round, (
            c.known, c.mean, c.sd, c.median, c.p05, c.p95, c.low, c.high,
            *(c.bands.get(band, 0.0) if c.bands else None
              for band in (Band.TARGET, Band.TOLERABLE, Band.OUTSIDE, Band.DANGER)),
        )), one.readings, one.flagged, len(c.gaps), _round(longest), _round(tank.degree_days),
        _round(tank.molt_degree_days), len(tank.alerts),
    )  # fmt: skip


def body(report: Report) -> dict[str, Any]:
    """The report as JSON: times RFC 3339, canonical units, shares from 0 to 1."""
    return {
        "room": report.room,
        "from": _iso(report.start_ms),
        "to": _iso(report.end_ms),
        "made": _iso(report.made_ms),
        "software": f"Intermolt {version('intermolt')}",
        "methods": methods(report),
        "tanks": [_tank_body(tank) for tank in report.tanks],
    }


def _tank_body(tank: TankReport) -> dict[str, Any]:
    return {
        "tank": tank.tank.id,
        "name": tank.tank.name,
        "species": tank.tank.species,
        "care": tank.care,
        "degree_days_above_0": tank.degree_days,
        "degree_days_molt_clock": tank.molt_degree_days,
        "quantities": [_quantity_body(one) for one in tank.quantities],
        "alerts": [
            {
                "id": one.id, "kind": str(one.kind), "priority": one.priority, "since": _iso(one.since_ms),
                "until": _iso(one.until_ms) if one.until_ms is not None else None,
            }
            for one in tank.alerts
        ],
        "calibrations": [
            {"probe": one.probe, "quantity": str(one.quantity), "from": _iso(one.from_ms), "kind": one.kind}
            for one in tank.calibrations
        ],
    }  # fmt: skip


def _quantity_body(one: QuantityReport) -> dict[str, Any]:
    c = one.conditions
    names = ("known", "mean", "sd", "median", "p05", "p95", "low", "high")
    return {
        "quantity": str(one.quantity),
        "unit": MEANING[one.quantity].unit,
        "probe": one.probe,
        "derived": one.derived,
        "span_s": one.span_s,
        **{name: getattr(c, name) for name in names},
        "bands": {str(band): share for band, share in c.bands.items()},
        "readings": one.readings,
        "flagged": one.flagged,
        "gaps": [{"from": _iso(gap.start_ms), "to": _iso(gap.end_ms)} for gap in c.gaps],
    }


def text_lines(report: Report) -> Iterator[str]:
    """The report as plain text."""
    zone = ZoneInfo(report.zone)
    for tank in report.tanks:
        yield ""
        yield f"{named(tank.tank)}, care {tank.care}"
        if not tank.quantities:
            yield "  no reading in this time"
        for one in tank.quantities:
            c, meaning = one.conditions, MEANING[one.quantity]
            d = _decimals(meaning.decimals, c.sd)
            if c.mean is None:
                yield f"  {meaning.label}: nothing that can be believed, {one.flagged} readings flagged"
                continue
            yield (
                f"  {meaning.label} [{meaning.unit_label}] ({one.probe}): mean {c.mean:.{d}f}, SD {c.sd:.{d}f}, median"
                f" {c.median:.{d}f}, 5th to 95th {c.p05:.{d}f} to {c.p95:.{d}f}, lowest {c.low:.{d}f}, highest"
                f" {c.high:.{d}f}; known {100 * c.known:.1f} %, {len(c.gaps)} gap{'' if len(c.gaps) == 1 else 's'},"
                f" {one.flagged} of {one.readings + one.flagged} readings flagged"
            )
            if c.bands:
                yield "    " + ", ".join(f"{band} {100 * share:.1f} %" for band, share in c.bands.items())
        if tank.degree_days is not None:
            gaps = "" if tank.warmth_whole else ", both over the time the temperature is known"
            days = f"{tank.degree_days:.1f} degree-days above 0 °C; {tank.molt_degree_days:.1f} of the molt clock"
            yield f"  {days}{gaps}"
        for alert in tank.alerts:
            until = alert.until_ms if alert.until_ms is not None else report.made_ms
            since = datetime.fromtimestamp(alert.since_ms / 1000, zone)
            stood = duration((until - alert.since_ms) / 1000)
            yield f"  {since:%Y-%m-%d %H:%M} {KIND_WORDS[alert.kind]}, stood {stood}"
    yield ""
    yield methods(report)


def _iso(time_ms: int) -> str:
    return datetime.fromtimestamp(time_ms / 1000, UTC).isoformat(timespec="seconds").replace("+00:00", "Z")


def _round(value: float | None) -> float | None:
    return None if value is None else round(value, 6)
