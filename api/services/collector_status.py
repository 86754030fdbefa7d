"""A collector's own word of itself, as it comes through any door: checked, then kept for the pages.

Must not do: trust a field's type because the collector is ours.
"""

from __future__ import annotations

from concurrent.futures import Future
from typing import Any

from api.storage.base import Store


def keep_status(store: Store, name: str, checked: dict[str, Any], now_ms: int) -> Future[None]:
    """Keep what ``check_status`` gave; the future ends after the commit."""
    return store.write(lambda: store.state.save_collector(name, checked, now_ms))


def check_status(body: Any) -> dict[str, Any]:
    """The status with every field the pages read present and of its type.

    Raises ValueError naming the field.
    """
    if not isinstance(body, dict) or not isinstance(body.get("spool"), dict) or not isinstance(body.get("ports"), list):
        raise ValueError("it needs an object 'spool' and a list 'ports'")
    spool = {name: _whole(body["spool"], name) for name in ("waiting", "dropped", "refused")}
    ports = [
        {
            "probe": str(port.get("probe", ""))[:64],
            "state": str(port.get("state", ""))[:20],
            "last_reading_ms": _whole(port, "last_reading_ms") if port.get("last_reading_ms") is not None else None,
            "unreadable": _whole(port, "unreadable"),
            "last_unreadable": str(port.get("last_unreadable", ""))[:200],
            "error": str(port.get("error", ""))[:300],
        }
        for port in body["ports"][:2000]
        if isinstance(port, dict)
    ]
    return {"spool": {**spool, "trouble": str(body["spool"].get("trouble") or "")[:300]}, "ports": ports}


def _whole(body: dict[str, Any], name: str) -> int:
    value = body.get(name, 0)
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value < 2**62:
        raise ValueError(f"{name} = {str(value)[:40]} is not a whole number")
    return value
