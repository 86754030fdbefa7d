"""Causes with their evidence, and what was expected, as they are kept beside an alert. Must not do: weigh them."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import Any

from api.domain.alert import AlertEvent
from api.domain.cause import Cause, CauseName
from api.domain.outlook import NOTHING, Outlook, TimeTo


def written(event: AlertEvent) -> str:
    """One text for a record; empty when an event says neither."""
    if not event.causes and event.outlook in (None, NOTHING):
        return ""
    said: dict[str, Any] = {"causes": [asdict(one) for one in event.causes]}
    if event.outlook is not None:
        said["outlook"] = asdict(event.outlook)
        said |= {"at_ms": event.time_ms, "value": event.value}
    return json.dumps(said, separators=(",", ":"), allow_nan=False)


def read(text: str) -> tuple[tuple[Cause, ...], Outlook | None]:
    """What was kept; a cause a newer version knew is told as not known."""
    if not text:
        return (), None
    said = json.loads(text)
    causes = tuple(Cause(_name(one["name"]), one["share"], tuple(one["evidence"])) for one in said.get("causes", ()))
    kept = said.get("outlook")
    if kept is None:
        return causes, None
    ahead = {name: TimeTo(**kept[name]) if kept.get(name) else None for name in ("danger", "tolerable")}
    return causes, Outlook(**{**kept, **ahead})


def foreseen(text: str) -> tuple[int, float] | None:
    """When an outlook was made, and from which value; None where that was not kept. [ms]"""
    said = json.loads(text) if text else {}
    at_ms, value = said.get("at_ms"), said.get("value")
    return None if at_ms is None or value is None else (int(at_ms), float(value))


def _name(name: str) -> CauseName:
    try:
        return CauseName(name)
    except ValueError:
        return CauseName.NOT_KNOWN
