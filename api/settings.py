"""Where this installation keeps its things, from the environment set by the command line.

Must not do: read ``room.toml``.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

ROOM_VARIABLE, DATA_VARIABLE = "INTERMOLT_ROOM", "INTERMOLT_DATA"
ROOM_FILE, DATA_FOLDER = "room.toml", "intermolt-data"


@dataclass(frozen=True, slots=True)
class Settings:
    """The room's description and the folder of everything kept."""

    room: Path
    data: Path

    def environment(self) -> dict[str, str]:
        """These settings for a child process."""
        return {**os.environ, ROOM_VARIABLE: str(self.room), DATA_VARIABLE: str(self.data)}


def settings(room: str | None = None, data: str | None = None) -> Settings:
    """Settings from arguments, else the environment, else the current folder; data lie beside the room file."""
    room_path = Path(room or os.environ.get(ROOM_VARIABLE) or ROOM_FILE).resolve()
    data_path = data or os.environ.get(DATA_VARIABLE)
    return Settings(room_path, Path(data_path).resolve() if data_path else room_path.parent / DATA_FOLDER)
