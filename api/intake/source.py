"""What kind of file it is, by its first bytes and never by its name; what is no table is refused with what to do.

Must not do: read rows.
"""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path

from api.intake.errors import FileError

PROBE_BYTES = 1 << 16
_EXPORT = "export the readings as CSV, XLSX or Parquet and import that file"
_NOT_TABLES = (
    (b"\xff\xd8\xff", "this is a JPEG picture, whatever its name says"),
    (b"\x89PNG", "this is a PNG picture, whatever its name says"),
    (b"GIF8", "this is a GIF picture, whatever its name says"),
    (b"RIFF", "this is a picture, sound or film, whatever its name says"),
    (b"II*\x00", "this is a TIFF picture, whatever its name says"),
    (b"MM\x00*", "this is a TIFF picture, whatever its name says"),
    (b"%PDF", "this is a PDF document"),
    (b"\x1f\x8b", "this is a gzip archive"),
    (b"BZh", "this is a bzip2 archive"),
    (b"\xfd7zXZ", "this is an xz archive"),
    (b"7z\xbc\xaf", "this is a 7z archive"),
    (b"Rar!", "this is a RAR archive"),
    (b"SQLite format 3", "this is a database"),
    (b"\x7fELF", "this is a program"),
    (b"{\\rtf", "this is a text document"),
)


class Kind(StrEnum):
    """The three ways a file is read."""

    TEXT = "text"
    XLSX = "xlsx"
    PARQUET = "parquet"


def first_bytes(source: Path, most: int = PROBE_BYTES) -> bytes:
    """The beginning of a file. Raises FileError when it cannot be opened, or is empty."""
    try:
        with source.open("rb") as file:
            head = file.read(most)
    except IsADirectoryError as error:
        raise FileError(str(source), "this is a folder", "name one file") from error
    except OSError as error:
        raise FileError(
            str(source), f"it cannot be read ({error.strerror or error})", "see to it, then again"
        ) from error
    if not head:
        raise FileError(str(source), "the file is empty", "see whether the logger or the copying has finished")
    return head


def kind(source: Path) -> Kind:
    """How a file is to be read. Raises FileError for what is no table."""
    head = first_bytes(source)
    if head.startswith(b"PAR1"):
        return Kind.PARQUET
    if head.startswith(b"PK\x03\x04"):
        return Kind.XLSX
    if head.startswith(b"PK"):
        raise FileError(str(source), "this is an empty zip archive", _EXPORT)
    if head.startswith(b"\xd0\xcf\x11\xe0"):
        raise FileError(str(source), "this is an old .xls workbook", "save it as .xlsx or CSV and import that file")
    for mark, what in _NOT_TABLES:
        if head.startswith(mark):
            raise FileError(str(source), what, _EXPORT)
    if head[4:8] == b"ftyp":
        raise FileError(str(source), "this is a photo or a film, whatever its name says", _EXPORT)
    return Kind.TEXT
