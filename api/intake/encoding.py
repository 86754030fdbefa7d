"""How a text file's bytes stand for letters: the mark at its start, zeros between letters, or what UTF-8 allows.

Must not do: guess silently; ``words`` says what was found.
"""

from __future__ import annotations

import codecs
from dataclasses import dataclass
from pathlib import Path

from api.intake.errors import FileError

CONTROL = bytes(one for one in range(32) if one not in (0, 9, 10, 11, 12, 13, 26, 27))


@dataclass(frozen=True, slots=True)
class Encoding:
    """A codec, the length of the mark before the text, and in words why it was taken."""

    codec: str
    mark: int
    words: str


def find(source: Path, head: bytes, tail: bytes = b"") -> Encoding:
    """The encoding of a file that begins with ``head`` and ends with ``tail``.

    Raises FileError when these bytes are no text at all.
    """
    for mark, codec, words in (
        (codecs.BOM_UTF8, "utf-8", "UTF-8 with its mark"),
        (codecs.BOM_UTF16_LE, "utf-16-le", "UTF-16 with its mark"),
        (codecs.BOM_UTF16_BE, "utf-16-be", "UTF-16 with its mark"),
    ):
        if head.startswith(mark):
            return Encoding(codec, len(mark), words)
    even, odd = head[0::2].count(0), head[1::2].count(0)
    half = len(head) // 2
    if half >= 2 and odd > 0.4 * half and even < 0.1 * half:
        return Encoding("utf-16-le", 0, "UTF-16 without a mark, by the zeros between its letters")
    if half >= 2 and even > 0.4 * half and odd < 0.1 * half:
        return Encoding("utf-16-be", 0, "UTF-16 without a mark, by the zeros between its letters")
    if head.strip(b"\x00") == b"":
        raise FileError(str(source), "it holds nothing but zero bytes", "copy it again from the logger")
    if sum(head.count(one) for one in CONTROL) > len(head) // 100:
        raise FileError(
            str(source), "these bytes are no text and no table we read", "export the readings as CSV, XLSX or Parquet"
        )
    if _is_utf8(head) and _is_utf8(tail.lstrip(bytes(range(0x80, 0xC0)))):
        return Encoding("utf-8", 0, "UTF-8")
    if any(one in head or one in tail for one in (b"\x81", b"\x8d", b"\x8f", b"\x90", b"\x9d")):
        return Encoding("latin-1", 0, "Latin-1, as it is no UTF-8")
    return Encoding("cp1252", 0, "Latin-1 (Windows-1252), as it is no UTF-8")


def _is_utf8(part: bytes) -> bool:
    """Whether a part of a text is UTF-8; its last letter may be cut."""
    try:
        codecs.getincrementaldecoder("utf-8")().decode(part)
    except UnicodeDecodeError:
        return False
    return True
