"""Reading ``room.toml`` from disk. Must not do: look into it (``api/domain/roomfile.py``) or write it."""

from __future__ import annotations

from pathlib import Path

from api.domain.errors import InputError, RoomFileError
from api.domain.roomfile import parse_room
from api.domain.tank import RoomFile


def read_room(path: Path) -> RoomFile:
    """The room a file describes.

    Raises RoomFileError at the first line that cannot be used, InputError when the file cannot be read.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except OSError as error:
        raise InputError(f"{path} cannot be read: {error.strerror}; name the room file with --room") from error
    except UnicodeDecodeError as error:
        line = error.object.count(b"\n", 0, error.start) + 1
        raise RoomFileError(str(path), line, "this is not UTF-8 text.", "Save the file as UTF-8.") from error
    return parse_room(text, str(path))
