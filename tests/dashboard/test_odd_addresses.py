"""Every page's address with what people and old links put into it: an answer in words, never a fault."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any
from urllib.parse import quote

import pytest

from api.app import create_api
from dashboard.app import join
from tests.dashboard.caller import Caller
from tests.support.rooms import TestRoom

ODD = ("99999999999999999999", "-1", "0", "x", "½", "٣", "%00", "..", "a" * 3000, "1e3", "<b>")


def addresses(routes: Iterable[Any]) -> set[str]:
    """Addresses of all routes that are looked at and name something, those of routers within too."""
    found = set[str]()
    for route in routes:
        inside = getattr(route, "original_router", None)
        if inside is not None:
            found |= addresses(inside.routes)
        elif "{" in getattr(route, "path", "") and "GET" in (getattr(route, "methods", None) or ()):
            found.add(route.path)
    return found


@pytest.mark.parametrize("odd", ODD)
def test_odd_names_and_numbers(lab: TestRoom, odd: str) -> None:
    """Pages, figures, files and the JSON routes alike."""
    app = join(create_api(lab.service), lab.service)
    with Caller(app, accept="text/html") as site:
        paths = addresses(app.routes)
        assert len(paths) > 20
        for path in sorted(paths):
            parts = [quote(odd, safe="") if part.startswith("{") else part for part in path.split("/")]
            answer = site.get("/".join(parts))
            assert answer.status_code < 500, path
            assert "Traceback" not in answer.text
