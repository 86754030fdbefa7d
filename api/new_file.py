"""A text file a person asked for: made new, never written over another."""

from __future__ import annotations

import os
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
        raise _there(path) from None
    except OSError as error:
        raise InputError(f"cannot write {path}: {error.strerror or error}; give another name") from error


def see_new(path: Path) -> None:
    """Before long work: that its file can be written after it.

    Raises InputError for one that is there, or whose folder is not, or is not ours to write.
    """
    folder = path.absolute().parent
    if path.exists():
        raise _there(path)
    if not folder.is_dir():
        raise InputError(f"{path}: there is no folder {folder}; make it, or give another name")
    if not os.access(folder, os.W_OK):
        raise InputError(f"{path}: you may not write in {folder}; give another name")


def _there(path: Path) -> InputError:
    return InputError(f"{path} is there already; give another name, or move it away")
