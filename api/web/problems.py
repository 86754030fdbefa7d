"""Error answers of the JSON routes, as RFC 9457 problem bodies.

Must not do: decide what is an error, or hide its cause.
"""

from __future__ import annotations

from collections.abc import Mapping

from starlette.responses import JSONResponse, Response


def problem(status: int, title: str, detail: str, headers: Mapping[str, str] | None = None) -> Response:
    """A problem body: what went wrong (title), where and what to do (detail)."""
    body = {"type": "about:blank", "title": title, "status": status, "detail": detail}
    return JSONResponse(body, status, dict(headers or {}), media_type="application/problem+json")
