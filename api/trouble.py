"""What a disk or a database refuses, in words that say where and what to do. Must not do: raise, or mend anything."""

from __future__ import annotations

import errno
import os
import shutil
import sqlite3
import sys
import tempfile
import traceback
from pathlib import Path

from api.service import DATABASE

NOT_OURS = ("file is not a database", "malformed", "file is encrypted")
NOT_ALLOWED = ("readonly", "unable to open database file")
LEAST_MB = 0.5
"""With less room than this a database cannot even be opened, and says it otherwise."""


def disk_words(error: OSError | sqlite3.Error, data: Path) -> str:
    """One sentence on an error of the data folder, and one on what to do."""
    said = str(error)
    if isinstance(error, sqlite3.Error) and any(words in said for words in NOT_OURS):
        return (
            f"{data / DATABASE} is damaged, or no database of Intermolt ({said})."
            " Leave it as it is, stop the service and put the newest backup in place: intermolt restore FOLDER"
        )
    if isinstance(error, FileExistsError | NotADirectoryError):
        return f"{_place(error, data)} is a file where a folder is needed; give another folder with --data"
    full = (isinstance(error, OSError) and error.errno in (errno.ENOSPC, errno.EDQUOT)) or "disk is full" in said
    if full or (isinstance(error, sqlite3.Error) and _free_mb(data) < LEAST_MB):
        return f"the disk of {data} is full ({_free_mb(data):.1f} MB free): make room there, then try again"
    if isinstance(error, PermissionError) or any(words in said for words in NOT_ALLOWED):
        return (
            f"{_place(error, data)} may not be read or written by this user."
            f" Start Intermolt as the user who owns the folder ('ls -l {data.parent}' shows who),"
            " or give another folder with --data"
        )
    return f"what is kept in {data} cannot be used now: {said}"


def fault_words(error: BaseException) -> str:
    """A fault nobody foresaw: what it was, and the file that holds the rest for who looks after the program."""
    told = "".join(traceback.format_exception(error))
    said = f"{type(error).__name__}: {str(error)[:200]}" if str(error) else type(error).__name__
    try:
        handle, path = tempfile.mkstemp(prefix="intermolt-fault-", suffix=".txt")
        with os.fdopen(handle, "w", encoding="utf-8", errors="replace") as file:
            file.write(f"{' '.join(sys.argv)}\n{told}")
    except OSError:
        return f"a fault in the program ({said}). What was kept before is kept.\n{told}"
    return (
        f"a fault in the program ({said}). What was kept before is kept."
        f" Please give {path} to whoever looks after Intermolt"
    )


def _place(error: OSError | sqlite3.Error, data: Path) -> str:
    return str(error.filename) if isinstance(error, OSError) and error.filename else str(data)


def _free_mb(data: Path) -> float:
    """Room on the disk, or on that of the nearest folder that is there. [MB]"""
    there = next((one for one in (data, *data.parents) if one.exists()), Path("/"))
    try:
        return shutil.disk_usage(there).free / 1e6
    except OSError:
        return float("inf")
