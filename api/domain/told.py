"""Everybody who is told, as the service leaves it in the data folder for the collector's second voice.

The collector knows the room file only; who was changed on a page it learns from here. Must not do: read or write files.
"""

from __future__ import annotations

import json
from collections.abc import Sequence

from api.domain.tank import Notify

FILE = "told.json"


def text_of(told: Sequence[Notify]) -> str:
    """As it is kept."""
    return json.dumps([{"name": one.name, "url": one.url} for one in told])


def told_in(text: str) -> tuple[Notify, ...]:
    """As it was kept. Raises ValueError for what is not ours."""
    rows = json.loads(text)
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        raise ValueError("not a list of addresses")
    return tuple(Notify(str(row.get("name", "")), str(row["url"]), "urgent") for row in rows if row.get("url"))
