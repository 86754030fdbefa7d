"""Nasty files that are broken, cut, hostile, or no tables at all."""

from __future__ import annotations

from tests.support.nasty import Nasty, rows
from tests.support.nasty_forms import HEAD, ONE, PLAIN, P

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
)
