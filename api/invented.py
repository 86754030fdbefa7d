"""Invented readings and real ones never stand in one data folder. Must not do: move or delete anything."""

from __future__ import annotations

from pathlib import Path

from api.domain.errors import InputError
from api.domain.tank import RoomFile


def keep_apart(was_simulated: bool, file: RoomFile, room: Path, data: Path) -> None:
    """Raises InputError when a folder with readings is to go on with a room file of the other sort."""
    if was_simulated == (file.simulated is not None):
        return
    if was_simulated:
        what = f"{data} holds the invented readings of a simulated room, and {room} describes a real one."
        aside = f"mv {data} {data}-invented"
    else:
        what = f"{data} holds the readings of a real room, and {room} describes a simulated one."
        aside = f"mv {data} {data}-real"
    raise InputError(
        f"{what} They must not stand side by side: move the folder away ({aside}), or give another one with --data"
    )
