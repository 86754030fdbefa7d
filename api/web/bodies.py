"""JSON bodies of the answers: dataclasses to plain values, times as RFC 3339. Must not do: ask or change anything."""

from __future__ import annotations

from dataclasses import fields, is_dataclass
from typing import Any

from api.services.answers import Series, TankNow
from api.web.times import rfc3339


def plain(value: Any) -> Any:
    """Any answer as JSON values; ``*_ms`` fields become RFC 3339 times under the name without ``_ms``."""
    if is_dataclass(value) and not isinstance(value, type):
        out = {}
        for field in fields(value):
            inner = getattr(value, field.name)
            if field.name.endswith("_ms"):
                out[field.name.removesuffix("_ms")] = rfc3339(inner)
            else:
                out[field.name] = plain(inner)
        return out
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    if isinstance(value, dict):
        return {str(key): plain(item) for key, item in value.items()}
    return value


def tank_body(now: TankNow) -> dict[str, Any]:
    """A tank without its strip, which is a picture's matter."""
    body = plain(now)
    del body["strip"], body["urgency"]
    return {**body.pop("tank"), **body}


def series_body(series: Series) -> dict[str, Any]:
    """A series as columns, short for many points."""
    return {
        "tank": series.tank,
        "quantity": series.quantity,
        "unit": series.unit,
        "start": rfc3339(series.start_ms),
        "end": rfc3339(series.end_ms),
        "care": plain(series.care),
        "lines": [
            {
                "probe": line.probe,
                "derived": line.derived,
                "span_s": line.span_s,
                "time": [rfc3339(point.time_ms) for point in line.points],
                "mean": [point.mean for point in line.points],
                "low": [point.low for point in line.points],
                "high": [point.high for point in line.points],
                "flagged": [point.flagged for point in line.points],
            }
            for line in series.lines
        ],
    }
