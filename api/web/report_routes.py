"""The conditions report as JSON and CSV. Must not do: compute or format."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from api.services.report import Report
from api.services.report_words import body, csv_text
from api.web.times import parse

router = APIRouter(prefix="/api/v1")
Tanks = Annotated[list[str] | None, Query(alias="tank", max_length=500)]


def _report(request: Request, tanks: list[str] | None, start: str, end: str) -> Report:
    service = request.app.state.service
    made: Report = service.reports.report(tanks, parse(start, "start"), parse(end, "end"), service.now_ms())
    return made


@router.get("/report")
def get_report(request: Request, start: str, end: str, tanks: Tanks = None) -> dict[str, Any]:
    """Conditions of some tanks, or of all, from ``start`` to ``end``."""
    return body(_report(request, tanks, start, end))


@router.get("/report.csv")
def get_report_csv(request: Request, start: str, end: str, tanks: Tanks = None) -> Response:
    """The same as CSV, a row a tank and quantity."""
    headers = {"content-disposition": 'attachment; filename="conditions.csv"'}
    text = csv_text(_report(request, tanks, start, end))
    return Response(text, media_type="text/csv; charset=utf-8", headers=headers)
