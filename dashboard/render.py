"""The templates, with every value escaped.

Must not do: build a context or decide which template to show.
"""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.responses import HTMLResponse

from dashboard import files

FOLDER = Path(__file__).parent / "templates"
# The chart script adds two style elements: an empty one that it fills by script, and one for maps, which is not
# needed and whose hash changes with the script's version (a blocked one only leaves a line in the browser's console).
EMPTY_STYLE = "'sha256-47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU='"
MAP_STYLE = "'sha256-ji27qzEtxXZW+7dun6UwjHXJ18e6WAin1VvNtkzIE/o='"
CHART_POLICY = (
    f"default-src 'none'; script-src 'self'; style-src 'self' {EMPTY_STYLE} {MAP_STYLE}; img-src 'self' data:;"
    " connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)


@lru_cache(maxsize=1)
def environment() -> Environment:
    """The template environment; a name a template does not get is an error, never an empty spot."""
    made = Environment(
        loader=FileSystemLoader(FOLDER), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True,
        # A service that runs while its files are renewed keeps the templates that fit its code.
        auto_reload=False,
    )  # fmt: skip
    made.globals["static"] = files.address
    made.globals["m"] = made.get_template("parts/marks.html").module
    return made


def text(template: str, context: dict[str, Any]) -> str:
    """A template filled in."""
    return environment().get_template(template).render(context)


def page(template: str, context: dict[str, Any], status: int = 200) -> HTMLResponse:
    """A whole page."""
    return HTMLResponse(text(template, context), status)
