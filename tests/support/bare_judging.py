"""The service's judging over a store that holds nothing: no past, no tracks. Must not do: keep anything."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any, cast

from api.services.judging import Judging
from api.storage.base import Store


def bare_judging() -> Judging:
    """Judging that begins with nothing known."""
    store: Any = SimpleNamespace(
        state=SimpleNamespace(tracks=lambda: []), readings=SimpleNamespace(summaries=lambda *_: [])
    )
    return Judging(cast(Store, store))
