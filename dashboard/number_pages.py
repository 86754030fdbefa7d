"""The route of the page "Where the numbers come from". Must not do: format (``numbers.py``) or decide."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from api.services.molt_numbers import molt_numbers
from api.services.numbers import numbers
from dashboard import render
from dashboard.numbers import flag_views, group_views, prior_words, quantity_views, source_name, source_views
from dashboard.visit import visit

router = APIRouter(include_in_schema=False)


@router.get("/numbers")
def get_numbers(request: Request) -> Response:
    """Formulas, units, checks and flags."""
    now = numbers()
    context = visit(request).context("numbers") | {
        "groups": group_views(now),
        "sources": source_views(now),
        "quantities": quantity_views(now),
        "flags": flag_views(now),
        "molts": molt_numbers(),
        "prior": prior_words,
        "source_name": source_name,
        "every_s": now.every_s,
        "volume_l": now.volume_l,
    }
    return render.page("numbers.html", context)
