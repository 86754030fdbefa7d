"""A text file as pieces of whole lines in UTF-8, read forwards in little memory, whatever its encoding and length.

Must not do: split lines into cells. A line that cannot be text of a table is left empty and named in ``broken``.
"""

from __future__ import annotations

import codecs
import os
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from api.intake import encoding
from api.intake.encoding import Encoding
from api.intake.errors import FileError
from api.intake.source import PROBE_BYTES, first_bytes

READ_BYTES = 1 << 21
LONGEST_LINE = 1 << 20
FEED = 10
_ZEROS = "zero bytes are in it, as a logger leaves them when its power fails while it writes"
_LONG = f"it is longer than {LONGEST_LINE:,} bytes, which is no row of readings"


@dataclass(slots=True)
class Piece:
    """Whole lines, each ended by a line feed; ``open_end`` is the number of a last line that had none."""

    data: bytes
    first_line: int
    count: int
    share: float
    open_end: int | None = None
    broken: dict[int, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class TextFile:
    """A text file and how it is read; ``old_ends`` where lines end with a carriage return alone."""

    source: Path
    encoding: Encoding
    size: int
    old_ends: bool

    def pieces(self, start_line: int = 1) -> Iterator[Piece]:
        """From a line on (from 1) to the end. Raises FileError when the file cannot be read to its end."""
        line, carry, done, dropping = 1, b"", self.encoding.mark, False
        for raw, text in self._texts():
            done += raw
            data = carry + text if carry else text
            cut = data.rfind(b"\n") + 1
            whole, carry = data[:cut], data[cut:]
            count = int(np.count_nonzero(np.frombuffer(whole, np.uint8) == FEED))
            piece = Piece(whole, line, count, min(1.0, done / self.size))
            if dropping and cut:
                self._drop(piece)
                dropping = False
            elif dropping:
                carry = b""
            if len(carry) > LONGEST_LINE:
                carry, dropping = b"", True
            line += piece.count
            if piece.data and line > start_line:
                yield _mended(_from(piece, start_line))
        if carry or dropping:
            piece = Piece(carry + b"\n", line, 1, 1.0, None if dropping else line)
            if dropping:
                self._drop(piece)
            if line >= start_line:
                yield _mended(piece)

    @staticmethod
    def _drop(piece: Piece) -> None:
        """Leave out the end of a line whose beginning was left out for its length."""
        piece.data = b"\n" + piece.data.partition(b"\n")[2]
        piece.broken[piece.first_line] = _LONG

    def _texts(self) -> Iterator[tuple[int, bytes]]:
        """Bytes read, and what they say in UTF-8 with line feeds."""
        plain = self.encoding.codec == "utf-8"
        decoder = codecs.getincrementaldecoder(self.encoding.codec)(errors="replace")
        try:
            with self.source.open("rb") as file:
                file.seek(self.encoding.mark)
                while raw := file.read(READ_BYTES):
                    text = raw if plain else decoder.decode(raw).encode("utf-8", "replace")
                    yield len(raw), text.replace(b"\r", b"\n") if self.old_ends else text
        except OSError as error:
            what = f"it cannot be read to its end ({error.strerror or error})"
            raise FileError(str(self.source), what, "see to the disk or the share it lies on, then again") from error


def open_text(source: Path) -> TextFile:
    """Find how a text file is to be read. Raises FileError when it cannot be opened or is no text."""
    head = first_bytes(source)
    size = source.stat().st_size
    with source.open("rb") as file:
        file.seek(max(0, size - PROBE_BYTES) & ~1)
        found = encoding.find(source, head, file.read(PROBE_BYTES + 2))
    text = head[found.mark :].decode(found.codec, "replace")
    return TextFile(source, found, max(size, 1), "\r" in text and "\n" not in text and not text.endswith("\r" * 2))


def _from(piece: Piece, start_line: int) -> Piece:
    """Without the lines before ``start_line``."""
    at = 0
    for _ in range(start_line - piece.first_line):
        at = piece.data.index(b"\n", at) + 1
    if at:
        piece.count -= start_line - piece.first_line
        piece.data, piece.first_line = piece.data[at:], start_line
    return piece


def _mended(piece: Piece) -> Piece:
    """Lines with zero bytes or that are no UTF-8 left empty, and named."""
    if b"\x00" not in piece.data and _is_utf8(piece.data):
        return piece
    lines = piece.data.split(b"\n")
    for at, one in enumerate(lines):
        why = (
            _ZEROS if b"\x00" in one else "" if _is_utf8(one)
            else "it holds bytes that are no UTF-8, unlike the rest of the file"
        )  # fmt: skip
        if why:
            piece.broken[piece.first_line + at] = why
            lines[at] = b""
    piece.data = b"\n".join(lines)
    return piece


def _is_utf8(data: bytes) -> bool:
    if data.isascii():
        return True
    try:
        data.decode()
    except UnicodeDecodeError:
        return False
    return True


def ends_open(source: Path, codec: str) -> bool:
    """Whether the last line of a file has no end."""
    with source.open("rb") as file:
        file.seek(0, os.SEEK_END)
        file.seek(max(0, file.tell() - 2))
        last = file.read(2)
    return last[-2 if codec.startswith("utf-16") else -1 :].strip(b"\x00") not in (b"\n", b"\r")
