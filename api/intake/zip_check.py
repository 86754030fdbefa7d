"""A workbook is a zip archive: what it unpacks to is bounded before anything unpacks it, also where its sizes lie.

Must not do: keep what it unpacks.
"""

from __future__ import annotations

import re
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from api.intake.errors import FileError

MOST_UNPACKED = 400 * 1024 * 1024
"""A sheet of a million rows and six columns takes about 300 MB."""
MOST_CELLS = 12_000_000
"""A sheet of a million rows and eleven columns."""
MOST_PARTS = 5000
MOST_TIMES = 250
"""Sheets of numbers pack to a tenth, of nothing but equal cells to a hundredth."""
FREE_BYTES = 10 * 1024 * 1024
_CHUNK = 1 << 18
_COLUMN = re.compile(rb"""\br=["']([A-Za-z]{1,3})[0-9]""")
_ROW = re.compile(rb"""\br=["'](?:[A-Za-z]{1,3})?([0-9]{1,7})["']""")
_CSV = "export the sheet with the readings as CSV and import that file"


def check_workbook(source: Path) -> None:
    """Raises FileError for an archive that is no workbook, is damaged, or unpacks to more than a table of readings."""
    try:
        with zipfile.ZipFile(source) as archive:
            parts = archive.infolist()
    except (zipfile.BadZipFile, NotImplementedError, OSError, ValueError) as error:
        # NotImplementedError is zipfile's own word for an archive that needs a newer way of unpacking
        what = f"the workbook is damaged or cut short ({error})"
        raise FileError(str(source), what, "copy or save it again") from error
    names = {part.filename for part in parts}
    if "xl/workbook.xml" not in names:
        if "content.xml" in names:
            raise FileError(str(source), "this is an OpenDocument table", "save it as .xlsx or CSV")
        raise FileError(str(source), "this is a zip archive and no workbook", "unpack it and import the files in it")
    if len(parts) > MOST_PARTS:
        raise FileError(str(source), f"it has {len(parts)} parts, as no workbook of readings has", _CSV)
    for part in parts:
        if part.flag_bits & 1 or part.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            raise FileError(
                str(source), "the workbook is locked or packed in an unusual way", "save it without a password"
            )
        if part.file_size > FREE_BYTES and part.file_size > MOST_TIMES * max(1, part.compress_size):
            raise _bomb(
                source,
                f"{part.filename[:60]!r} unpacks to {part.file_size / max(1, part.compress_size):,.0f} times its size",
            )
    total = sum(part.file_size for part in parts)
    if total > MOST_UNPACKED:
        raise _bomb(source, f"it unpacks to {total / 1e6:,.0f} MB, and {MOST_UNPACKED / 1e6:,.0f} MB are the limit")
    with source.open("rb") as file:
        for part in parts:
            extent = Extent()
            for data in _contents(source, file, part):
                extent.take(data)
            if extent.cells > MOST_CELLS:
                raise _bomb(
                    source, f"{part.filename[:60]!r} spans {extent.cells:,} cells, and {MOST_CELLS:,} are the limit"
                )


@dataclass(slots=True)
class Extent:
    """The rectangle that a sheet's cells span, which whoever reads it makes room for, however few they are."""

    row: int = 0
    column: int = 0
    tail: bytes = b""

    def take(self, data: bytes) -> None:
        """Look for the places of cells; one that is cut by the end of ``data`` is found with the next."""
        text = self.tail + data
        for letters in set(_COLUMN.findall(text)):
            number = 0
            for letter in letters.upper():
                number = number * 26 + letter - 64
            self.column = max(self.column, number)
        self.row = max(self.row, max(map(int, _ROW.findall(text)), default=0))
        self.tail = text[-32:]

    @property
    def cells(self) -> int:
        """How many cells lie within."""
        return self.row * self.column


def _contents(source: Path, file: BinaryIO, part: zipfile.ZipInfo) -> Iterator[bytes]:
    """What a part unpacks to, piece by piece, and no more of it than it says."""
    left, out, unpacker = part.compress_size, 0, zlib.decompressobj(-15)
    stored = part.compress_type == zipfile.ZIP_STORED
    try:
        file.seek(part.header_offset)
        header = file.read(30)
        file.seek(int.from_bytes(header[26:28], "little") + int.from_bytes(header[28:30], "little"), 1)
        while left > 0 and not unpacker.eof:
            packed = file.read(min(left, _CHUNK))
            if not packed:
                break
            left -= len(packed)
            while packed:
                data = packed if stored else unpacker.decompress(packed, _CHUNK * 16)
                out += len(data)
                if out > part.file_size:
                    told = f"unpacks to more than the {part.file_size:,} bytes it says"
                    raise _bomb(source, f"{part.filename[:60]!r} {told}")
                yield data
                packed = b"" if stored else unpacker.unconsumed_tail
    except (zlib.error, OSError, ValueError) as error:
        what = f"{part.filename[:60]!r} in the workbook is damaged ({error})"
        raise FileError(str(source), what, "copy or save it again") from error


def _bomb(source: Path, what: str) -> FileError:
    return FileError(str(source), f"{what}: this is no table of readings, and it was not opened", _CSV)
