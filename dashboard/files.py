"""The pages' own files and the chart script, served from this machine only.

Must not do: serve anything that is not on its short list.
"""

from __future__ import annotations

import gzip
import hashlib
from functools import lru_cache
from importlib.metadata import version
from importlib.util import find_spec
from pathlib import Path

from fastapi import APIRouter, Request
from starlette.exceptions import HTTPException
from starlette.responses import Response

FOLDER = Path(__file__).parent / "static"
TYPES = {
    "looks.css": "text/css",
    "imports.css": "text/css",
    "molts.css": "text/css",
    "rehearsal.css": "text/css",
    "page.js": "text/javascript",
    "charts.js": "text/javascript",
    "animals.js": "text/javascript",
    "icon.svg": "image/svg+xml",
}
PLOTLY = f"plotly-{version('plotly')}.min.js"
LONG = {"cache-control": "public, max-age=31536000, immutable", "vary": "accept-encoding"}

router = APIRouter()


@lru_cache(maxsize=16)
def address(name: str) -> str:
    """The address of one of our files; it changes with the file, so that it may be kept for a year."""
    return f"/static/{name}?v={hashlib.sha256((FOLDER / name).read_bytes()).hexdigest()[:12]}"


def plotly_address() -> str:
    """The address of the chart script."""
    return f"/static/{PLOTLY}"


@router.get("/static/{name}", include_in_schema=False)
def get_file(request: Request, name: str) -> Response:
    """One file, packed when the browser can unpack it."""
    if name != PLOTLY and name not in TYPES:
        raise HTTPException(404, "there is no such file")
    plain, packed = _content(name)
    media_type = TYPES.get(name, "text/javascript")
    if "gzip" in request.headers.get("accept-encoding", ""):
        return Response(packed, media_type=media_type, headers=LONG | {"content-encoding": "gzip"})
    return Response(plain if plain is not None else _path(name).read_bytes(), media_type=media_type, headers=LONG)


@lru_cache(maxsize=16)
def _content(name: str) -> tuple[bytes | None, bytes]:
    """A file plain and packed; the large one is kept packed only."""
    plain = _path(name).read_bytes()
    return (plain if name != PLOTLY else None), gzip.compress(plain, 6, mtime=0)


def _path(name: str) -> Path:
    if name != PLOTLY:
        return FOLDER / name
    # Found without importing it: importing the package takes long, and only its script is wanted.
    spec = find_spec("plotly")
    places = list(spec.submodule_search_locations or ()) if spec is not None else []
    if not places:
        raise HTTPException(500, "the plotly package is not installed; install Intermolt with its requirements")
    return Path(places[0]) / "package_data" / "plotly.min.js"
