"""The store of a data folder for a command, while the service runs or not. Must not do: make one where none was."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from api.domain.errors import InputError
from api.service import DATABASE
from api.storage.sqlite import SqliteStore


@contextmanager
def kept_store(
    data: Path, advice: str = "nothing was ever kept here; name the folder with --data"
) -> Iterator[SqliteStore]:
    """The store, closed at the end.

    Raises InputError with the advice when there is none.
    """
    path = data / DATABASE
    if not path.exists():
        raise InputError(f"there is no {path}: {advice}")
    store = SqliteStore(path)
    try:
        yield store
    finally:
        store.close()
