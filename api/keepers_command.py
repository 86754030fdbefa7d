"""``intermolt user``: keepers' passwords from the command line, while the service runs or not."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from api.app import now_ms
from api.domain.errors import InputError
from api.service import DATABASE
from api.services.keepers import Keepers
from api.storage.sqlite import SqliteStore


def keepers_command(data: Path, action: str, name: str, password: Callable[[], str]) -> list[str]:
    """Do it and return what to print.

    Raises InputError for a name or password that cannot be used.
    """
    data.mkdir(parents=True, exist_ok=True, mode=0o700)
    store = SqliteStore(data / DATABASE)
    try:
        keepers = Keepers(store, data)
        if action == "list":
            return keepers.names() or ["no keeper has a password: the pages are open on this machine only"]
        if not name:
            raise InputError(f"name the keeper: intermolt user {action} NAME")
        if action == "remove":
            keepers.remove(name, now_ms())
            return [f"{name} has no password any more"]
        keepers.set_password(name, password(), now_ms())
        return [f"{name} can sign in now; every open session has ended"]
    finally:
        store.close()
