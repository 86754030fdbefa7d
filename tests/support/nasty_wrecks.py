"""Nasty files that are broken, cut, hostile, or no tables at all; workbooks and Parquet files."""

from __future__ import annotations

import io
import struct
import zipfile
from collections.abc import Callable, Sequence
from datetime import date, datetime, time, timedelta
from pathlib import Path

import openpyxl
import polars as pl
from openpyxl.worksheet.worksheet import Worksheet

from tests.support.nasty import Nasty, rows
from tests.support.nasty_forms import HEAD, ONE, PLAIN, P

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

WRECKS = (
    Nasty("empty.csv", "an empty file", b"", error="empty.csv: the file is empty"),
    Nasty("blank.csv", "nothing but blank lines", b"\n\n  \n", error="the file holds no text"),
    Nasty(
        "head.csv", "a header and nothing below it", rows(HEAD), error="head.csv, line 1: there is a header and no row"
    ),
    Nasty(
        "photo.csv",
        "a photo named .csv",
        b"\xff\xd8\xff\xe0\x00\x10JFIF" + bytes(range(256)),
        error="this is a JPEG picture",
    ),
    Nasty(
        "phone.csv", "a photo of a phone named .csv", b"\x00\x00\x00\x18ftypheic" + bytes(64), error="a photo or a film"
    ),
    Nasty(
        "noise.csv",
        "bytes without meaning",
        bytes((at * 7919 + 13) % 256 for at in range(4096)),
        error="no text and no table",
    ),
    Nasty(
        "old.xls",
        "a workbook of the old kind",
        b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600),
        error="save it as .xlsx",
    ),
    Nasty("letter.txt", "a letter", rows("Dear keeper", "the tanks are well.", "Yours"), error="not cut into cells"),
    Nasty(
        "names.txt",
        "a table without a time",
        rows("tank,species", "T1,marbled", "T2,red"),
        error="no row with a time and a reading",
    ),
    Nasty(
        "onlytext.csv",
        "times and words, no numbers",
        rows("Time (UTC),note", "2024-03-01 10:00,fed", "2024-03-01 10:05,calm"),
        error="no row with a time and a reading",
    ),
    Nasty(
        "ragged.csv",
        "rows with too few and too many cells",
        rows(HEAD, PLAIN[0], "2024-03-01 10:00:30", PLAIN[1] + ",9", PLAIN[2]),
        P,
        gives=("p temperature Cel: 2024-03-01 10:00:00 20.1, 2024-03-01 10:02:00 20.3",),
        refused=((3, "it has 1 cell where the header has 2"), (4, "it has 3 cells where the header has 2")),
    ),
    Nasty(
        "trailing.csv",
        "a delimiter at the end of each data row",
        rows(HEAD, *(line + "," for line in PLAIN)),
        P,
        gives=ONE,
    ),
    Nasty(
        "open.csv",
        "the last line without its end: the file is still being written",
        rows(HEAD, *PLAIN) + b"2024-03-01 10:03:00,2",
        P,
        gives=ONE,
        refused=((5, "the last line has no end"),),
        says=("the last line has no end",),
    ),
    Nasty(
        "open-told.csv", "the same, told to be finished", rows(HEAD, *PLAIN)[:-1], {**P, "last_line": "take"}, gives=ONE
    ),
    Nasty(
        "cut.csv",
        "cut in the middle of a time",
        rows(HEAD, *PLAIN) + b"2024-03-01 10:0",
        P,
        gives=ONE,
        refused=((5, "it has 1 cell"),),
    ),
    Nasty(
        "again.csv",
        "the logger wrote its header again when it started anew",
        rows(HEAD, PLAIN[0], HEAD, *PLAIN[1:]),
        P,
        gives=ONE,
        refused=((3, "it is the header again"),),
    ),
    Nasty(
        "zeros.csv",
        "a row of zero bytes where the logger's power failed",
        rows(HEAD, *PLAIN[:2]) + bytes(40) + b"\n" + rows(PLAIN[2]),
        P,
        gives=ONE,
        refused=((4, "zero bytes"),),
    ),
    Nasty("nul.csv", "nothing but zero bytes", bytes(5000), error="nothing but zero bytes"),
    Nasty(
        "longline.csv",
        "a line of 3 MB among the rows",
        rows(HEAD, *PLAIN[:2], "x" * 3_000_000, PLAIN[2]),
        P,
        gives=ONE,
        refused=((4, "longer than"),),
    ),
    Nasty(
        "oneline.csv",
        "one line of 4 MB and nothing else",
        b"a,b," * 1_000_000,
        error="oneline.csv, line 1: it is longer than",
    ),
    Nasty(
        "quote.csv",
        "a quotation mark that is never closed",
        rows(HEAD + ",note", PLAIN[0] + ",", PLAIN[1] + ',"feed', PLAIN[2] + ","),
        P,
        gives=ONE,
    ),
    Nasty(
        "badutf8.csv",
        "one row with a byte that is no UTF-8, far behind the beginning",
        rows(
            HEAD + ",note", *(f"2024-03-01T10:00:00Z,20.1,{'ü' * 60}" for _ in range(900)), "2024-03-01T10:00:00Z,20.1,"
        ).replace(b"20.1,\n", b"20.1,\xfc\n")
        + rows(*(f"2024-03-01T10:00:00Z,20.1,{'ü' * 60}" for _ in range(900))),
        P,
        gives=("p temperature Cel: 1800 from 2024-03-01 10:00:00 20.1 to 2024-03-01 10:00:00 20.1",),
        refused=((902, "no UTF-8"),),
    ),
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
