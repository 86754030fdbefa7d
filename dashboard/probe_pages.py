"""The routes of the probes' pages and of their calibration log. Must not do: format (``probes.py``) or decide."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Form, Request
from pydantic import BaseModel
from starlette.responses import JSONResponse, RedirectResponse, Response

from api.domain.calibration import Calibration, CalibrationKind
from api.domain.errors import InputError, NotFound
from api.domain.quantity import Quantity
from dashboard import files, render
from dashboard.probes import KIND_TITLES, channel_view, drift_figure, probe_line
from dashboard.theme import DARK, LIGHT
from dashboard.visit import NAME_COOKIE, Visit, remember, visit

KEPT_WITHIN_S = 10.0
router = APIRouter(include_in_schema=False)


@router.get("/probes")
def get_probes(request: Request) -> Response:
    """Every probe."""
    here = visit(request)
    lines = [probe_line(one, here.clock) for one in here.service.probes.all()]
    return render.page("probes.html", here.context("probes") | {"probes": lines})


@router.get("/probe/{probe_id}")
def get_probe(request: Request, probe_id: str) -> Response:
    """One probe."""
    return _page(visit(request), probe_id)


@router.get("/probe/{probe_id}/drift")
def get_drift(request: Request, probe_id: str, quantity: Quantity, look: str = "light") -> Response:
    """The chart of a probe's drift."""
    here = visit(request)
    found = [one for one in here.service.probes.probe(probe_id).channels if one.quantity is quantity]
    if not found:
        raise NotFound(f"probe {probe_id!r} does not measure {quantity}")
    return JSONResponse(drift_figure(found[0], here.clock, DARK if look == "dark" else LIGHT))


class Filled(BaseModel):
    """A calibration form as it was filled in."""

    quantity: Quantity
    kind: CalibrationKind
    said: str = ""
    expected: str = ""
    said_2: str = ""
    expected_2: str = ""
    temperature_c: str = ""
    start: str = ""
    person: str = ""
    note: str = ""


@router.post("/probe/{probe_id}/calibrate")
def post_calibrate(request: Request, probe_id: str, filled: Annotated[Filled, Form()]) -> Response:
    """Put a calibration on record."""
    here = visit(request)
    try:
        given = _calibration(here, probe_id, filled)
        here.service.calibrations.enter(given, here.service.now_ms()).result(KEPT_WITHIN_S)
    except NotFound:
        raise
    except InputError as error:
        return _page(here, probe_id, str(error), 422)
    answer = RedirectResponse(f"/probe/{quote(probe_id, safe='')}", 303)
    if not here.session.name:
        remember(answer, request, NAME_COOKIE, given.person)
    return answer


def _calibration(here: Visit, probe_id: str, filled: Filled) -> Calibration:
    """What a form says.

    Raises InputError.
    """
    warmth_c, pressure_kpa = _number(filled.temperature_c, "temperature"), None
    true = _number(filled.expected, "the true value")
    if filled.kind is CalibrationKind.AIR_SATURATION:
        true, pressure_kpa = here.service.calibrations.expected(
            filled.quantity, probe_id, warmth_c, here.room.pressure_kpa
        )
    return Calibration(
        probe=probe_id,
        quantity=filled.quantity,
        kind=filled.kind,
        from_ms=here.clock.parse(filled.start) if filled.start else here.service.now_ms(),
        said=_wanted(_number(filled.said, "what the probe said"), "what the probe said"),
        expected=0.0 if filled.kind is CalibrationKind.ZERO_POINT else _wanted(true, "the true value"),
        said_2=_number(filled.said_2, "what the probe said the second time"),
        expected_2=_number(filled.expected_2, "the second true value"),
        temperature_c=warmth_c,
        pressure_kpa=pressure_kpa,
        person=here.session.name or filled.person,
        note=filled.note,
    )


@router.post("/calibration/{calibration_id}/withdraw")
def post_withdraw(
    request: Request,
    calibration_id: int,
    probe: Annotated[str, Form()],
    person: Annotated[str, Form()] = "",
) -> Response:
    """Take a calibration out of force."""
    here = visit(request)
    try:
        name = here.session.name or person
        here.service.calibrations.withdraw(calibration_id, name, here.service.now_ms()).result(KEPT_WITHIN_S)
    except NotFound:
        raise
    except InputError as error:
        return _page(here, probe, str(error), 422)
    return RedirectResponse(f"/probe/{quote(probe, safe='')}", 303)


def _page(here: Visit, probe_id: str, error: str = "", status: int = 200) -> Response:
    now = here.service.probes.probe(probe_id)
    context = here.context("probes", path=f"/probe/{quote(probe_id, safe='')}") | {
        "probe": now,
        "channels": [channel_view(one, here.clock) for one in now.channels],
        "kinds": KIND_TITLES,
        "now_field": here.clock.field(here.clock.now_ms),
        "pressure_kpa": here.room.pressure_kpa,
        "pressure_source": here.room.pressure_source,
        "plotly": files.plotly_address(),
        "error": error,
    }
    page = render.page("probe.html", context, status)
    page.headers["content-security-policy"] = render.CHART_POLICY
    return page


def _number(text: str, what: str) -> float | None:
    """A number as a person types it, with a point or a comma; None for nothing.

    Raises InputError.
    """
    plain = text.strip().replace("\N{MINUS SIGN}", "-").replace(",", ".")
    if not plain:
        return None
    try:
        value = float(plain)
    except ValueError as error:
        raise InputError(f"{what}: {text.strip()[:40]!r} is not a number such as 8.26") from error
    if not -1e9 < value < 1e9:
        raise InputError(f"{what}: {text.strip()[:40]!r} is no amount of anything in a tank")
    return value


def _wanted(value: float | None, what: str) -> float:
    if value is None:
        raise InputError(f"{what} is missing; type a number such as 8.26")
    return value
