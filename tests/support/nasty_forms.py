"""Nasty files whose form is odd: encodings, delimiters, preambles, headers, layouts.

The same three readings throughout, so that the eye sees what differs.
"""

from __future__ import annotations

from tests.support.nasty import Nasty, rows

HEAD = "Time (UTC),Temp (°C)"
PLAIN = ("2024-03-01 10:00:00,20.1", "2024-03-01 10:01:00,20.2", "2024-03-01 10:02:00,20.3")
THREE = "2024-03-01 10:00:00 20.1, 2024-03-01 10:01:00 20.2, 2024-03-01 10:02:00 20.3"
P = {"probe": "p"}
ONE = (f"p temperature Cel: {THREE}",)
EXPORT = "time,tank,probe,quantity,raw,raw_unit,value,unit,flag,reason,derived,arrival"
TAB = tuple(line.replace(",", "\t") for line in (HEAD, *PLAIN))

FORMS = (
    Nasty(
        "bom.csv",
        "UTF-8 with a byte order mark, as spreadsheets write it",
        rows(HEAD, *PLAIN, encoding="utf-8-sig"),
        P,
        gives=ONE,
        says=("UTF-8 with its mark",),
    ),
    Nasty(
        "utf16.csv",
        "UTF-16 with a byte order mark, cut by tabs",
        rows(*TAB, encoding="utf-16"),
        P,
        gives=ONE,
        says=("UTF-16 with its mark", "tab"),
    ),
    Nasty(
        "utf16le.csv",
        "UTF-16, little end first, without a mark",
        rows(HEAD, *PLAIN, encoding="utf-16-le"),
        P,
        gives=ONE,
        says=("UTF-16 without a mark",),
    ),
    Nasty(
        "utf16be.csv", "UTF-16, big end first, without a mark", rows(HEAD, *PLAIN, encoding="utf-16-be"), P, gives=ONE
    ),
    Nasty(
        "latin1.csv",
        "Latin-1, whose degree sign is no UTF-8",
        rows(HEAD, *PLAIN, encoding="latin-1"),
        P,
        gives=ONE,
        says=("Latin-1",),
    ),
    Nasty(
        "crlf.csv",
        "line ends of carriage return and line feed (RFC 4180)",
        rows(HEAD, *PLAIN, end="\r\n"),
        P,
        gives=ONE,
    ),
    Nasty("cr.csv", "line ends of carriage returns alone", rows(HEAD, *PLAIN, end="\r"), P, gives=ONE),
    Nasty("tabs.tsv", "cells parted by tabs", rows(*TAB), P, gives=ONE),
    Nasty(
        "semicolon.csv",
        "semicolons and decimal commas, German words, day first proved by a 23rd",
        rows(
            "Datum;Uhrzeit;Wassertemperatur (°C);Sauerstoff (mg/l)",
            "23.08.2024;07:00;20,1;8,05",
            "01.09.2024;07:00;20,2;8,10",
        ),
        {**P, "zone": "Europe/Berlin"},
        gives=(
            "p temperature Cel: 2024-08-23 05:00:00 20.1, 2024-09-01 05:00:00 20.2",
            "p oxygen mg/L: 2024-08-23 05:00:00 8.05, 2024-09-01 05:00:00 8.1",
        ),
        says=("decimal sign is a comma", "day, month, year"),
    ),
    Nasty(
        "pipe.txt", "cells parted by pipes", rows(*(line.replace(",", "|") for line in (HEAD, *PLAIN))), P, gives=ONE
    ),
    Nasty(
        "sep.csv",
        "a first line that names the delimiter, as spreadsheets write it",
        rows("sep=;", *(line.replace(",", ";") for line in (HEAD, *PLAIN))),
        P,
        gives=ONE,
    ),
    Nasty(
        "quoted.csv",
        "every cell in quotation marks, a remark with a comma, doubled quotes and a line break (RFC 4180)",
        rows(
            '"Time (UTC)","Temp (°C)","note"',
            '"2024-03-01 10:00:00","20.1","fed, then ""quiet"""',
            '"2024-03-01 10:01:00","20.2","two\nlines"',
            '"2024-03-01 10:02:00","20.3",""',
        ),
        P,
        gives=ONE,
    ),
    Nasty(
        "preamble.csv",
        "seven lines about the logger, one with a time and a number, before the header",
        rows(
            "Logger report",
            "Serial number: 4711",
            "Start;2024-03-01 09:00;12",
            "",
            "Interval 60 s",
            "---",
            "",
            HEAD,
            *PLAIN,
        ),
        P,
        gives=ONE,
        says=("before the header, passed over: 5 lines",),
    ),
    Nasty(
        "unitrow.csv",
        "a row of units below the header",
        rows("Time,Temp,DO", "UTC,deg C,mg/L", "2024-03-01T10:00:00Z,20.1,8.1", "2024-03-01T10:01:00Z,20.2,8.2"),
        P,
        gives=(
            "p temperature Cel: 2024-03-01 10:00:00 20.1, 2024-03-01 10:01:00 20.2",
            "p oxygen mg/L: 2024-03-01 10:00:00 8.1, 2024-03-01 10:01:00 8.2",
        ),
        says=("row of units",),
    ),
    Nasty(
        "twoheads.csv",
        "tanks named once over their quantities, units in a third row",
        rows(
            ",Tank 1,,Tank 2,",
            "Time (UTC),Temp,DO,Temp,DO",
            ",°C,mg/L,°C,mg/L",
            "2024-03-01 10:00:00,20.1,8.1,21.1,7.1",
        ),
        gives=(
            "Tank-1 temperature Cel: 2024-03-01 10:00:00 20.1",
            "Tank-1 oxygen mg/L: 2024-03-01 10:00:00 8.1",
            "Tank-2 temperature Cel: 2024-03-01 10:00:00 21.1",
            "Tank-2 oxygen mg/L: 2024-03-01 10:00:00 7.1",
        ),
    ),
    Nasty(
        "wide.csv",
        "a column for each tank, the quantity named nowhere",
        rows("Time (UTC),Tank 1,Tank 2", "2024-03-01 10:00:00,20.1,21.1"),
        asks=("quantity",),
        then={"quantity": "temperature", "unit": "Cel", "probe:Tank 2": "t2"},
        gives=("Tank-1 temperature Cel: 2024-03-01 10:00:00 20.1", "t2 temperature Cel: 2024-03-01 10:00:00 21.1"),
    ),
    Nasty(
        "noheader.csv",
        "no header at all",
        rows(*(line.replace(" 10", "T10").replace(",", "Z,") for line in PLAIN)),
        P,
        asks=("quantity:column 2",),
        then={"quantity:column 2": "temperature", "unit:column 2": "Cel"},
        gives=ONE,
    ),
    Nasty(
        "twins.csv",
        "two tanks of one name",
        rows("Time (UTC),Tank 1 (°C),Tank 1 (°C)", "2024-03-01 10:00:00,20.1,21.1"),
        asks=("probe:Tank 1 (°C) (column 3)",),
        then={"probe:Tank 1 (°C) (column 3)": "t2"},
        gives=("Tank-1 temperature Cel: 2024-03-01 10:00:00 20.1", "t2 temperature Cel: 2024-03-01 10:00:00 21.1"),
        says=("several columns are named 'Tank 1 (°C)'",),
    ),
    Nasty(
        "twinstold.csv",
        "two columns told to be one probe's one quantity",
        rows("Time (UTC),A (°C),B (°C)", "2024-03-01 10:00:00,20.1,21.1"),
        {"probe:A": "p", "probe:B": "p"},
        error="columns 'A (°C)' and 'B (°C)' are both told to be temperature of probe 'p'",
    ),
    Nasty(
        "letters.csv",
        "probes A, B and C, whose last letter is no Celsius",
        rows("Time (UTC),Temp A,Temp B,Temp C", "2024-03-01 10:00:00,20.1,21.1,22.1"),
        asks=("unit:temperature",),
        then={"unit:temperature": "[degF]"},
        gives=(
            "A temperature [degF]: 2024-03-01 10:00:00 20.1",
            "B temperature [degF]: 2024-03-01 10:00:00 21.1",
            "C temperature [degF]: 2024-03-01 10:00:00 22.1",
        ),
    ),
    Nasty(
        "long.csv",
        "one reading a row, some in the file's own words, one of no quantity of ours",
        rows(
            "sensor,parameter,timestamp,result,uom",
            "p,Water temperature,2024-03-01T10:00:00Z,20.1,°C",
            "p,DO,2024-03-01T10:00:00Z,8.1,mg/l",
            "p,turbidity,2024-03-01T10:00:00Z,3,NTU",
        ),
        gives=("p temperature °C: 2024-03-01 10:00:00 20.1", "p oxygen mg/l: 2024-03-01 10:00:00 8.1"),
        refused=((4, "none of our quantities"),),
    ),
    Nasty(
        "longbare.csv",
        "one reading a row, no column of units",
        rows("probe,quantity,time,value", "p,temperature,2024-03-01T10:00:00Z,20.1", "p,ph,2024-03-01T10:00:00Z,7.9"),
        asks=("unit:temperature",),
        then={"unit:temperature": "Cel"},
        gives=("p temperature Cel: 2024-03-01 10:00:00 20.1", "p ph pH: 2024-03-01 10:00:00 7.9"),
    ),
    Nasty(
        "export.csv",
        "what intermolt export wrote: raw values count, derived rows do not, guarded texts are bared",
        rows(
            EXPORT,
            "2024-03-01T10:00:00Z,T1,'p,temperature,68.2,[degF],20.1,Cel,1,,false,in time",
            "2024-03-01T10:00:00Z,T1,p,oxygen,8.1,mg/L,8.1,mg/L,1,,true,late",
        ),
        gives=("p temperature [degF]: 2024-03-01 10:00:00 68.2",),
    ),
    Nasty(
        "stations.csv",
        "a column of names beside two quantities; one row names none",
        rows(
            "station,time,temp_c,oxygen_mg_l",
            "north,2024-03-01T10:00:00Z,20.1,8.1",
            "south end,2024-03-01T10:00:00Z,21.1,",
            ",2024-03-01T10:01:00Z,22.1,7.9",
        ),
        gives=(
            "north temperature Cel: 2024-03-01 10:00:00 20.1",
            "north oxygen mg/L: 2024-03-01 10:00:00 8.1",
            "south-end temperature Cel: 2024-03-01 10:00:00 21.1",
        ),
        refused=((4, "no probe is named"),),
    ),
    Nasty(
        "air.csv",
        "the room's temperature beside the water's",
        rows("Time (UTC),Water temp (°C),Air temp (°C)", "2024-03-01 10:00:00,20.1,18.0"),
        P,
        gives=("p temperature Cel: 2024-03-01 10:00:00 20.1",),
    ),
)
