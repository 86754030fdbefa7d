"""A nasty file: made by the test, described in words, with what must become of it.

Must not do: share code with the reader but for the words it answers.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

Make = bytes | Callable[[Path], None]


@dataclass(frozen=True)
class Nasty:
    """``asks`` are the questions that must be answered; ``then`` answers them. ``gives`` are the readings as text,
    ``refused`` the line and some of the reason of each refused row, ``says`` some of what is noted, ``error`` some of
    the message where nothing can be read.
    """

    name: str
    words: str
    make: Make
    answers: Mapping[str, str] = field(default_factory=dict)
    asks: tuple[str, ...] = ()
    then: Mapping[str, str] = field(default_factory=dict)
    gives: tuple[str, ...] = ()
    refused: tuple[tuple[int, str], ...] = ()
    says: tuple[str, ...] = ()
    error: str = ""

    def write(self, folder: Path) -> Path:
        """Make the file."""
        path = folder / self.name
        if isinstance(self.make, bytes):
            path.write_bytes(self.make)
        else:
            self.make(path)
        return path


def rows(*lines: str, encoding: str = "utf-8", end: str = "\n") -> bytes:
    """Lines, each with its end."""
    return "".join(line + end for line in lines).encode(encoding)
