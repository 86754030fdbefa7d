"""``intermolt user``: keepers' passwords from the command line, while the service runs or not."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from api.app import now_ms
from api.domain.errors import InputError
from api.service import DATABASE
from api.services.keepers import Keepers
from api.storage.sqlite import SqliteStore


@contextmanager
def open_keepers(data: Path) -> Iterator[Keepers]:
    """The keepers of a data folder, for a short while."""
    data.mkdir(parents=True, exist_ok=True, mode=0o700)
    store = SqliteStore(data / DATABASE)
    try:
        yield Keepers(store, data)
    finally:
        store.close()


def keepers_command(data: Path, action: str, name: str, password: Callable[[], str]) -> list[str]:
    """Do it and return what to print.

    Raises InputError for a name or password that cannot be used, and where nothing was ever kept.
    """
    if action != "password" and not (data / DATABASE).exists():
        raise InputError(f"there is no {data / DATABASE}: nothing was ever kept here; name the folder with --data")
    with open_keepers(data) as keepers:
        if action == "list":
            return keepers.names() or ["no keeper has a password: the pages are open on this machine only"]
        if not name:
            raise InputError(f"name the keeper: intermolt user {action} NAME")
        if action == "remove":
            keepers.remove(name, now_ms())
            return [f"{name} has no password any more"]
        keepers.set_password(name, password(), now_ms())
        return [f"{name} can sign in now; every open session has ended"]
