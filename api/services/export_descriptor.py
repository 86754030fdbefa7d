"""What an export says of itself: a Frictionless Data Package descriptor with its Table Schema.

Units, zone, meanings of flags, software version and care profile, so that the file can be read in ten years. Must not
do: read readings.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import asdict
from datetime import UTC, datetime
from importlib.metadata import version
from typing import Any

from api.domain.care import CareProfile
from api.domain.care_change import PROFILE, TANK
from api.domain.quantity import MEANING
from api.domain.reading import Flag
from api.services.export import ARRIVALS, Selection
from api.services.plan import RoomPlan

FLAGS = {
    Flag.GOOD: "good: every check that could run was passed",
    Flag.NOT_EVALUATED: "not evaluated: the checks could not run",
    Flag.SUSPECT: "suspect: a check found it unlikely; the reason says which",
    Flag.FAIL: "fail: it cannot be true or could not be converted; the reason says why",
    Flag.MISSING: "missing: there is no value; the reason says why",
}
FIELDS: tuple[dict[str, Any], ...] = (
    {"name": "time", "type": "datetime", "description": "When it was measured: RFC 3339, UTC, milliseconds."},
    {"name": "tank", "type": "string", "description": "The tank its probe belonged to when the file was written."},
    {"name": "probe", "type": "string", "description": "The probe's id."},
    {"name": "quantity", "type": "string", "description": "What was measured; see 'quantities'."},
    {"name": "raw", "type": "number", "description": "What the probe said, in raw_unit; never changed."},
    {"name": "raw_unit", "type": "string", "description": "The probe's own unit, SenML or UCUM code."},
    {"name": "value", "type": "number", "description": "Converted and calibrated, in unit; empty: there is none."},
    {"name": "unit", "type": "string", "description": "The unit of value, UCUM code; see 'quantities'."},
    {"name": "flag", "type": "integer", "description": "QARTOD quality flag; see 'flags'."},
    {"name": "reason", "type": "string", "description": "Why it is not plainly good."},
    {"name": "derived", "type": "boolean", "description": "Computed from the probe's other reading, not measured."},
    {
        "name": "arrival",
        "type": "string",
        "description": "in time, late (after newer ones), waiting (not yet checked).",
    },
)
NEEDED = ("time", "probe", "quantity", "raw", "raw_unit", "unit", "flag", "derived", "arrival")
APOSTROPHE = (
    "In CSV a text that a spreadsheet could take for a formula (it begins with =, +, -, @, a tab or a line end) has an"
    " apostrophe put before it."
)
MEDIA_TYPES = {"csv": "text/csv", "parquet": "application/vnd.apache.parquet"}


def describe(plan: RoomPlan, selection: Selection, name: str, kind: str, now_ms: int) -> dict[str, Any]:
    """The descriptor of a file ``name`` of kind csv or parquet; size and hash are added by whoever wrote it."""
    here = {tank for _, tank in selection.channels if tank}
    quantities = dict.fromkeys(channel.quantity for channel, _ in selection.channels)
    return {
        "profile": "data-package",
        "name": "intermolt-readings",
        "title": f"Readings of {plan.room.name}",
        "description": f"Invented data of a simulated room. {APOSTROPHE}" if plan.simulated else APOSTROPHE,
        "created": _time(now_ms),
        "software": {"name": "intermolt", "version": version("intermolt")},
        "room": {"name": plan.room.name, "zone": plan.room.zone, "pressure_kpa": plan.pressure_kpa,
                 "altitude_m": plan.room.altitude_m, "salinity_psu": plan.room.salinity_psu},
        "span": {"start": _time(selection.start_ms), "end": _time(selection.end_ms)},
        "quantities": {str(one): {k: v for k, v in asdict(MEANING[one]).items() if k != "decimals"}
                       for one in quantities},
        "flags": {str(int(flag)): words for flag, words in FLAGS.items()},
        "tanks": [{"id": tank.id, "name": tank.name, "care": tank.care, "species": tank.species,
                   "volume_l": tank.volume_l} for tank in plan.tanks.values() if tank.id in here],
        "care": [_care(plan.care[one]) for one in dict.fromkeys(plan.tanks[tank].care for tank in sorted(here))
                 if one in plan.care],
        "care_changes": _changes(plan, here),
        "resources": [_resource(name, kind)],
    }  # fmt: skip


def _resource(name: str, kind: str) -> dict[str, Any]:
    text = {"encoding": "utf-8", "dialect": {"delimiter": ",", "lineTerminator": "\r\n"}} if kind == "csv" else {}
    return {
        "name": "readings",
        "path": name,
        "format": kind,
        "mediatype": MEDIA_TYPES[kind],
        "profile": "tabular-data-resource",
        **text,
        "schema": {
            "fields": [{**field, "constraints": _limits(str(field["name"]))} for field in FIELDS],
            "missingValues": [""],
            "primaryKey": ["probe", "quantity", "time"],
        },
    }


def _limits(field: str) -> dict[str, Any]:
    limits: dict[str, Any] = {"required": True} if field in NEEDED else {}
    if field == "flag":
        limits["enum"] = [int(flag) for flag in FLAGS]
    if field == "arrival":
        limits["enum"] = list(ARRIVALS.values())
    return limits


def _changes(plan: RoomPlan, here: Collection[str]) -> list[dict[str, Any]]:
    """What people changed in the care ranges of these tanks, oldest first; ``care`` is what lies below."""
    changes = plan.care_then.changes if plan.care_then is not None else ()
    mine = {(PROFILE, plan.tanks[tank].care) for tank in here if tank in plan.tanks} | {(TANK, tank) for tank in here}
    return [
        {**{name: value for name, value in asdict(one).items() if name not in ("id", "from_ms")},
         "from": _time(one.from_ms)}
        for one in changes if (one.scope, one.key) in mine
    ]  # fmt: skip


def _care(profile: CareProfile) -> dict[str, Any]:
    ranges = [{name: value for name, value in asdict(one).items() if value is not None} for one in profile.ranges]
    return {"name": profile.name, "source": profile.source, "ranges": ranges}


def _time(time_ms: int) -> str:
    return datetime.fromtimestamp(time_ms / 1000, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
