"""A text file a person asked for: made new, never written over another."""

from __future__ import annotations

from pathlib import Path

from api.domain.errors import InputError


def write_new(path: Path, text: str) -> None:
    """Write a file that is not there yet.

    Raises InputError for one that is there, or cannot be written.
    """
    try:
        with path.open("x", encoding="utf-8", newline="") as file:
            file.write(text)
    except FileExistsError:
        raise InputError(f"{path} is there already; give another name, or move it away") from None
    except OSError as error:
        raise InputError(f"cannot write {path}: {error.strerror or error}; give another name") from error
