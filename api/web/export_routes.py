"""A tank's readings as CSV, sent as they are read, and what describes them. Must not do: hold them in memory."""

from __future__ import annotations

from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Query, Request
from starlette.responses import StreamingResponse

from api.domain.errors import InputError
from api.domain.quantity import Quantity
from api.services.export import Export, Selection, csv_of
from api.services.export_descriptor import describe
from api.web.times import FIRST_MS, parse

router = APIRouter(prefix="/api/v1")
Quantities = Annotated[list[Quantity] | None, Query()]


def _selected(
    request: Request, tank_id: str, quantity: list[Quantity] | None, start: str | None, end: str | None
) -> tuple[Export, Selection]:
    service = request.app.state.service
    end_ms = parse(end, "end") if end is not None else service.now_ms() + 1
    start_ms = parse(start, "start") if start is not None else max(end_ms - 86_400_000, FIRST_MS)
    export = Export(service.store, service.plan)
    return export, export.select([tank_id], quantity or [], start_ms, end_ms)


@router.get("/tanks/{tank_id}/export.csv")
def get_export(
    request: Request, tank_id: str, quantity: Quantities = None, start: str | None = None, end: str | None = None
) -> StreamingResponse:
    """Every reading from ``start`` (a day before the end) to ``end`` (now); ``quantity`` may stand several times."""
    export, selection = _selected(request, tank_id, quantity, start, end)
    given = [("quantity", str(one)) for one in quantity or []]
    given += [(name, value) for name, value in (("start", start), ("end", end)) if value is not None]
    described = f"/api/v1/tanks/{tank_id}/datapackage.json" + (f"?{urlencode(given)}" if given else "")
    headers = {
        "content-disposition": f'attachment; filename="{_name(tank_id)}"',
        "link": f'<{described}>; rel="describedby"; type="application/json"',
    }
    return StreamingResponse(csv_of(export.pages(selection)), media_type="text/csv; charset=utf-8", headers=headers)


@router.get("/tanks/{tank_id}/datapackage.json")
def get_descriptor(
    request: Request, tank_id: str, quantity: Quantities = None, start: str | None = None, end: str | None = None
) -> dict[str, Any]:
    """The Frictionless descriptor of the CSV of the same question."""
    service = request.app.state.service
    _, selection = _selected(request, tank_id, quantity, start, end)
    return describe(service.plan(), selection, _name(tank_id), "csv", service.now_ms())


def _name(tank_id: str) -> str:
    """Tank ids are letters, digits and a few signs; a colon cannot stand in some systems' file names."""
    if '"' in tank_id or "/" in tank_id:
        raise InputError(f"tank {tank_id!r} has no name for a file")
    return f"{tank_id.replace(':', '-')}-readings.csv"
