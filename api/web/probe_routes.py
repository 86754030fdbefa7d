"""JSON questions about probes, and their calibration log. Must not do: compute answers."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated, Any

from fastapi import APIRouter, Body, Path, Request

from api.domain.calibration import Calibration, CalibrationKind
from api.domain.errors import InputError
from api.domain.quantity import Quantity
from api.services.probes import ChannelNow, ProbeNow
from api.web.times import parse, rfc3339

router = APIRouter(prefix="/api/v1/probes")
WITHIN_S = 10.0


@router.get("")
def get_probes(request: Request) -> list[dict[str, Any]]:
    """Every probe with its calibrations."""
    return [_probe(one) for one in request.app.state.service.probes.all()]


@router.get("/{probe_id}")
def get_probe(request: Request, probe_id: str) -> dict[str, Any]:
    """One probe."""
    return _probe(request.app.state.service.probes.probe(probe_id))


@router.post("/{probe_id}/calibrations", status_code=201)
def post_calibration(
    request: Request,
    probe_id: str,
    quantity: Annotated[Quantity, Body()],
    kind: Annotated[CalibrationKind, Body()],
    person: Annotated[str, Body(max_length=200)],
    said: Annotated[float, Body(allow_inf_nan=False)],
    expected: Annotated[float | None, Body(allow_inf_nan=False)] = None,
    said_2: Annotated[float | None, Body(allow_inf_nan=False)] = None,
    expected_2: Annotated[float | None, Body(allow_inf_nan=False)] = None,
    temperature_c: Annotated[float | None, Body(allow_inf_nan=False)] = None,
    pressure_kpa: Annotated[float | None, Body(allow_inf_nan=False)] = None,
    start: Annotated[str | None, Body(alias="from")] = None,
    note: Annotated[str, Body(max_length=2000)] = "",
) -> dict[str, Any]:
    """Put a calibration on record. ``said`` is the probe's own value, not calibrated, in the canonical unit."""
    service = request.app.state.service
    now_ms = service.now_ms()
    if kind is CalibrationKind.AIR_SATURATION and expected is None:
        here_kpa = pressure_kpa if pressure_kpa is not None else service.read.room(now_ms).pressure_kpa
        expected, pressure_kpa = service.calibrations.expected(quantity, probe_id, temperature_c, here_kpa)
    if kind is CalibrationKind.ZERO_POINT:
        expected = 0.0
    if expected is None:
        raise InputError("expected: give the true value, by a reference instrument or a standard")
    from_ms = now_ms if start is None else parse(start, "from")
    given = Calibration(
        probe_id, quantity, kind, from_ms, said, expected, said_2, expected_2, temperature_c, pressure_kpa, person, note
    )
    number = service.calibrations.enter(given, now_ms).result(WITHIN_S)
    return {"id": number, "warning": service.calibrations.warning(given), **_probe(service.probes.probe(probe_id))}


@router.post("/calibrations/{calibration_id}/withdraw")
def post_withdraw(
    request: Request,
    calibration_id: Annotated[int, Path(ge=1, lt=2**63)],
    person: Annotated[str, Body(max_length=200, embed=True)],
) -> dict[str, Any]:
    """Take a calibration out of force; it stays on record."""
    service = request.app.state.service
    service.calibrations.withdraw(calibration_id, person, service.now_ms()).result(WITHIN_S)
    return {"id": calibration_id, "withdrawn_by": person}


def _probe(now: ProbeNow) -> dict[str, Any]:
    return {
        "probe": now.id,
        "tank": now.tank_id,
        "driver": now.probe.driver if now.probe is not None else None,
        "recalculating": now.waiting,
        "quantities": [_channel(one) for one in now.channels],
    }


def _channel(now: ChannelNow) -> dict[str, Any]:
    return {
        "quantity": now.quantity,
        "unit": now.unit,
        "said": now.said,
        "value": now.value,
        "time": rfc3339(now.said_ms) if now.said_ms is not None and now.said_ms >= 0 else None,
        "checks": {name: value for name, value in asdict(now.limits).items() if value is not None},
        "calibrate_every_days": now.every_days,
        "calibration_due": rfc3339(now.due_ms),
        "calibrations": [
            {
                "id": one.entry.id,
                **{name: value for name, value in asdict(one.entry.calibration).items() if name != "from_ms"},
                "from": rfc3339(one.entry.calibration.from_ms),
                "entered": rfc3339(one.entry.entered_ms),
                "withdrawn": rfc3339(one.entry.withdrawn_ms),
                "withdrawn_by": one.entry.withdrawn_by,
                "off": one.off,
                "offset": one.line.offset if one.line is not None else None,
                "slope": one.line.slope if one.line is not None else None,
            }
            for one in now.compared
        ],
    }
