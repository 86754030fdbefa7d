"""A growing or finished text file as chunks of whole lines, with a place in it that outlives a crash.

Survives rotation and truncation; a half written last line waits for its rest. Must not do: understand a line.
"""

from __future__ import annotations

import json
import os
from dataclasses import dataclass
from pathlib import Path
from zlib import crc32

CHUNK_BYTES = 1 << 18
TAIL_BYTES = 64


@dataclass(frozen=True, slots=True)
class Chunk:
    """Whole lines without their ends; ``start`` is where in the file they begin, ``broken`` counts lost pieces."""

    lines: list[bytes]
    start: int
    broken: int = 0
    end: bool = False


class CsvFile:
    """One file, followed or read once. ``mark`` is its place as text; give it back to go on from there."""

    def __init__(self, path: Path, follow: bool) -> None:
        self.path, self.follow = path, follow
        self._fd: int | None = None
        self._inode = 0
        self._offset = 0
        self._tail = b""
        self._skipping = False

    def open(self, mark: str | None) -> None:
        """Open the file at ``mark`` when that is still the same file, else at its beginning.

        Raises OSError.
        """
        place = json.loads(mark) if mark else None
        if place is not None:
            for path in self._candidates(place["inode"]):
                self._switch(path)
                if self._inode == place["inode"] and self._fits(place["offset"], place["tail"]):
                    self._seek(place["offset"])
                    return
        self._switch(self.path)

    def to_the_last(self, size: int) -> None:
        """Go on with the whole rows in the last ``size`` bytes, whatever was read before.

        Raises OSError.
        """
        start = self.path.stat().st_size - size
        if start > 0:
            self._seek(start + self._pread(size, start).find(b"\n") + 1)

    def _candidates(self, inode: int) -> list[Path]:
        """The file itself, and the one beside it that it may have been renamed to while nobody looked."""
        found = [self.path] if self.path.exists() else []
        if self.follow and self.path.parent.is_dir():
            with os.scandir(self.path.parent) as entries:
                found += [
                    Path(e.path) for e in entries if e.inode() == inode and e.is_file() and e.path != str(self.path)
                ]
        return found

    def _switch(self, path: Path) -> None:
        fd = os.open(path, os.O_RDONLY | os.O_CLOEXEC)
        self.close()
        self._fd, self._inode = fd, os.fstat(fd).st_ino
        self._seek(0)

    def _seek(self, offset: int) -> None:
        self._offset, self._skipping = offset, False
        self._tail = self._pread(min(TAIL_BYTES, offset), max(0, offset - TAIL_BYTES))

    def _fits(self, offset: int, tail: int) -> bool:
        held = self._pread(min(TAIL_BYTES, offset), max(0, offset - TAIL_BYTES))
        return len(held) == min(TAIL_BYTES, offset) and crc32(held) == tail

    def _pread(self, size: int, offset: int) -> bytes:
        if self._fd is None:
            raise OSError("the file is closed")
        return os.pread(self._fd, size, offset)

    @property
    def mark(self) -> str:
        """The place after the last chunk."""
        return json.dumps({"inode": self._inode, "offset": self._offset, "tail": crc32(self._tail)})

    @property
    def offset(self) -> int:
        """Bytes of the file that have been read."""
        return self._offset

    def first_line(self) -> bytes | None:
        """The first line of the file being read, None while it is not whole yet."""
        line, end, _ = self._pread(CHUNK_BYTES, 0).partition(b"\n")
        return line if end or (line and not self.follow) else None

    def chunk(self) -> Chunk:
        """The next whole lines, none when nothing new is there.

        Raises OSError.
        """
        if not self._fits(self._offset, crc32(self._tail)):
            # cut short, or replaced in place by another text: it begins anew
            self._seek(0)
        start = self._offset
        data = self._pread(CHUNK_BYTES, start)
        if not data:
            return self._at_end(start, broken=0)
        cut = data.rfind(b"\n") + 1
        if not cut:
            return self._no_line_end(data, start)
        broken = 0
        lines = data[: cut - 1].split(b"\n")
        if self._skipping:
            lines, broken, self._skipping = lines[1:], 1, False
        self._advance(data[:cut])
        return Chunk(lines, start, broken)

    def _no_line_end(self, data: bytes, start: int) -> Chunk:
        if len(data) == CHUNK_BYTES:
            self._skipping = True
            self._advance(data)
            return Chunk([], start)
        if self.follow:
            return self._at_end(start, broken=1)
        self._advance(data)
        return Chunk([] if self._skipping else [data], start, int(self._skipping))

    def _at_end(self, start: int, broken: int) -> Chunk:
        if not self.follow:
            return Chunk([], start, end=True)
        try:
            moved = self.path.stat().st_ino != self._inode
        except FileNotFoundError:
            moved = False  # renamed a moment ago; its successor will come
        if not moved or self._grown(start, broken):
            return Chunk([], start)
        self._switch(self.path)
        return Chunk([], 0, broken)

    def _grown(self, start: int, broken: int) -> bool:
        """Whether whole lines came between the last look and the rename."""
        return b"\n" in self._pread(CHUNK_BYTES, start) if broken else bool(self._pread(1, start))

    def _advance(self, data: bytes) -> None:
        self._offset += len(data)
        self._tail = (self._tail + data)[-TAIL_BYTES:]

    def close(self) -> None:
        """Let go of the file."""
        fd, self._fd = self._fd, None
        if fd is not None:
            os.close(fd)
