"""Nasty workbooks and Parquet files."""

from __future__ import annotations

import base64
import io
import re
import struct
import zipfile
from collections.abc import Callable, Sequence
from datetime import date, datetime, time, timedelta
from pathlib import Path

import openpyxl
import polars as pl
from openpyxl.worksheet.worksheet import Worksheet

from tests.support.nasty import Nasty
from tests.support.nasty_forms import ONE, P

START = datetime(2024, 3, 1, 10)  # noqa: DTZ001 - a spreadsheet's times have no zone
ZONED = {**P, "zone": "UTC"}


def _sheet(*lines: Sequence[object], then: Callable[[Worksheet], None] | None = None) -> bytes:
    book = openpyxl.Workbook()
    sheet = book.active
    for line in lines:
        sheet.append(line)
    if then is not None:
        then(sheet)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _text(sheet: Worksheet) -> None:
    cell = sheet.cell(3, 2)
    cell.value, cell.data_type = "=cmd|'/C calc'!A0", "s"


def _second(sheet: Worksheet) -> None:
    other = sheet.parent.create_sheet("Old")
    for line in _timed():
        other.append(line)


def _timed() -> list[list[object]]:
    return [["Time", "Temp (°C)"], *([START + timedelta(minutes=at), (201 + at) / 10] for at in range(3))]


def _bomb(size: int, told: int | None = None) -> Callable[[Path], None]:
    """A workbook whose sheet unpacks to ``size`` zeros; ``told`` is the size its directory says."""

    def make(path: Path) -> None:
        with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
            archive.writestr("xl/workbook.xml", "<workbook/>")
            with archive.open("xl/worksheets/sheet1.xml", "w", force_zip64=False) as part:
                for _ in range(size // 2**20):
                    part.write(bytes(2**20))
        if told is not None:
            data = bytearray(path.read_bytes())
            at = data.rindex(b"PK\x01\x02")
            data[at + 24 : at + 28] = struct.pack("<I", told)
            path.write_bytes(data)

    return make


def _parquet(frame: pl.DataFrame, cut: int = 0) -> bytes:
    out = io.BytesIO()
    frame.write_parquet(out)
    return out.getvalue()[: len(out.getvalue()) - cut]


def _zip() -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("readme.txt", "no workbook")
    return out.getvalue()


FRAME = pl.DataFrame({"time": [START + timedelta(minutes=at) for at in range(3)], "temp_c": [20.1, 20.2, 20.3]})
AWARE = FRAME.with_columns(pl.col("time").dt.replace_time_zone("UTC").dt.convert_time_zone("America/Denver"))


def _sparse(path: Path) -> None:
    """A sheet of two cells, a thousand million cells apart."""
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.cell(1, 1, "Time")
    sheet.cell(200_000, 5000, 20.1)
    book.save(path)


def _aside() -> bytes:
    """A table that begins in cell C10."""
    book = openpyxl.Workbook()
    for at, line in enumerate([*_timed(), [START, "off"]], 10):
        for place, value in enumerate(line, 3):
            book.active.cell(at, place, value)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _nowhere() -> bytes:
    """The types of the columns stand in the file as base64, with the name of the zone in them."""
    data = _parquet(AWARE)
    types = next(one for one in re.findall(rb"[A-Za-z0-9+/]{100,}={0,2}", data) if b"Denver" in base64.b64decode(one))
    return data.replace(types, base64.b64encode(base64.b64decode(types).replace(b"America/", b"Amerika/")))


BOOKS = (
    Nasty(
        "book.xlsx",
        "a workbook with a title above the header",
        _sheet(["My tank"], [], *_timed()),
        ZONED,
        gives=ONE,
    ),
    Nasty(
        "command.xlsx",
        "a text cell of a workbook that begins with =cmd",
        _sheet(*_timed(), then=_text),
        ZONED,
        gives=("p temperature Cel: 2024-03-01 10:00:00 20.1, 2024-03-01 10:02:00 20.3",),
        refused=((3, "a formula"),),
    ),
    Nasty(
        "sheets.xlsx",
        "two sheets with readings",
        _sheet(*_timed(), then=_second),
        ZONED,
        asks=("sheet",),
        then={"sheet": "Old"},
        gives=ONE,
    ),
    Nasty(
        "midnight.xlsx",
        "a workbook whose times pass midnight, which a sheet stores as a bare date",
        _sheet(
            ["Time", "Temp (°C)"], [START - timedelta(hours=10, minutes=1), 20.1], [START - timedelta(hours=10), 20.2]
        ),
        ZONED,
        gives=("p temperature Cel: 2024-02-29 23:59:00 20.1, 2024-03-01 00:00:00 20.2",),
    ),
    Nasty(
        "parted.xlsx",
        "date cells and time cells",
        _sheet(["Date", "Time", "Temp (°C)"], [date(2024, 3, 1), time(10), 20.1]),
        ZONED,
        gives=("p temperature Cel: 2024-03-01 10:00:00 20.1",),
    ),
    Nasty("cut.xlsx", "a workbook cut short", _sheet(*_timed())[:-300], error="the workbook is damaged or cut short"),
    Nasty("bomb.xlsx", "a workbook of 64 kB that unpacks to 64 MB of zeros", _bomb(64 * 2**20), error="times its size"),
    Nasty(
        "liar.xlsx",
        "the same, and its directory says 1 kB",
        _bomb(64 * 2**20, told=1000),
        error="more than the 1,000 bytes it says",
    ),
    Nasty("archive.zip", "a zip archive of something else", _zip(), error="a zip archive and no workbook"),
    Nasty(
        "aside.xlsx",
        "a table that begins in cell C10; lines are the sheet's own",
        _aside(),
        ZONED,
        gives=ONE,
        refused=((14, "'off' is no number"),),
    ),
    Nasty(
        "swapped.xlsx",
        "dates that a spreadsheet took for dates beside dates it left as text",
        _sheet(["Time", "Temp (°C)"], [START, 20.1], ["13/02/2024 10:00", 20.2]),
        ZONED,
        gives=("p temperature Cel: 2024-03-01 10:00:00 20.1, 2024-02-13 10:00:00 20.2",),
        says=("doubt: some cells of 'Time' are dates and others are text",),
    ),
    Nasty(
        "sparse.xlsx",
        "two cells with a thousand million cells between them",
        _sparse,
        error="spans 1,000,000,000 cells",
    ),
    Nasty(
        "nowhere.parquet",
        "a Parquet file whose zone is none, on which the library panics",
        _nowhere(),
        error="the Parquet file is damaged or cut short",
    ),
    Nasty("zoned.parquet", "a Parquet file whose times know their zone", _parquet(AWARE), P, gives=ONE),
    Nasty(
        "naive.parquet",
        "a Parquet file whose times do not",
        _parquet(FRAME),
        P,
        asks=("zone",),
        then={"zone": "UTC"},
        gives=ONE,
    ),
    Nasty(
        "cut.parquet",
        "a Parquet file cut short",
        _parquet(FRAME, cut=9),
        error="the Parquet file is damaged or cut short",
    ),
)
