"""Nasty files whose numbers are odd: decimal signs, thousands, units in cells, marks of no reading, text."""

from __future__ import annotations

from tests.support.nasty import Nasty, rows

P = {"probe": "p"}
AT = "2024-03-01 10:0"


def _times(*cells: str, head: str = "Time (UTC);Temp (°C)", sign: str = ";") -> bytes:
    return rows(head, *(f"{AT}{at}:00{sign}{cell}" for at, cell in enumerate(cells)))


NUMBERS = (
    Nasty(
        "thousands.csv",
        "thousands parted by commas, proved by a number with both signs",
        _times('"1,234"', '"1,234.5"', "999", head="Time (UTC),EC (µS/cm)", sign=","),
        P,
        gives=(f"p conductivity uS/cm: {AT}0:00 1234, {AT}1:00 1234.5, {AT}2:00 999",),
        says=("commas part thousands",),
    ),
    Nasty(
        "europe.csv",
        "thousands parted by points, decimal commas",
        _times("1.234,5", "999,25", "12", head="Time (UTC);EC (µS/cm)"),
        P,
        gives=(f"p conductivity uS/cm: {AT}0:00 1234.5, {AT}1:00 999.25, {AT}2:00 12",),
    ),
    Nasty(
        "either.csv",
        "every comma has three digits behind it: 1.234 or 1234?",
        _times("1,234", "1,250", head="Time (UTC);EC (µS/cm)"),
        P,
        asks=("decimal",),
        then={"decimal": "point"},
        gives=(f"p conductivity uS/cm: {AT}0:00 1234, {AT}1:00 1250",),
    ),
    Nasty(
        "bothsigns.csv",
        "decimal points, and one comma",
        _times("20.1", "20,2", "20.3"),
        P,
        gives=(f"p temperature Cel: {AT}0:00 20.1, {AT}2:00 20.3",),
        refused=((3, "the decimal sign here is a point"),),
    ),
    Nasty(
        "commapoint.csv",
        "decimal commas, and one point",
        _times("20,1", "20,25", "20.375"),
        P,
        gives=(f"p temperature Cel: {AT}0:00 20.1, {AT}1:00 20.25",),
        refused=((4, "the decimal sign here is a comma"),),
    ),
    Nasty(
        "commas.csv",
        "decimal commas where commas part the cells",
        rows("Time (UTC),Temp (°C)", f"{AT}0,20,1", f"{AT}1,20,2"),
        P,
        error="commas.csv, line 2: the header has 2 cells and this row has 3",
    ),
    Nasty(
        "cellunits.csv",
        "the unit in each cell, and two units in one column",
        _times("21.5 C", "70 F", "22 °C", "9 mg/L", "23", head="Time (UTC);Temp"),
        P,
        asks=("unit:Temp",),
        then={"unit:Temp": "K"},
        gives=(
            f"p temperature Cel: {AT}0:00 21.5, {AT}2:00 22",
            f"p temperature [degF]: {AT}1:00 70",
            f"p temperature K: {AT}4:00 23",
        ),
        refused=((5, "'mg/L' is no unit for temperature"),),
    ),
    Nasty(
        "allunits.csv",
        "the unit in every cell",
        _times("21.5 C", "70 F", head="Time (UTC);Temp"),
        P,
        gives=(f"p temperature Cel: {AT}0:00 21.5", f"p temperature [degF]: {AT}1:00 70"),
        says=("name their unit",),
    ),
    Nasty(
        "jump.csv",
        "degrees Celsius that turn into Fahrenheit half way, with no mark",
        _times("21.4", "21.5", "70.8", "70.7"),
        P,
        gives=(f"p temperature Cel: {AT}0:00 21.4, {AT}1:00 21.5, {AT}2:00 70.8, {AT}3:00 70.7",),
        says=("doubt: temperature of p goes from 21.5 to 70.8 in line 4",),
    ),
    Nasty(
        "percent.csv",
        "oxygen in mg/L that turns into percent",
        _times("8.1", "8.2", "93.5", head="Time (UTC);DO (mg/L)"),
        P,
        gives=(f"p oxygen mg/L: {AT}0:00 8.1, {AT}1:00 8.2, {AT}2:00 93.5",),
        says=("doubt: oxygen of p goes from 8.2 to 93.5",),
    ),
    Nasty(
        "nounit.csv",
        "no unit anywhere",
        _times("20.1", head="Time (UTC);Temp"),
        P,
        asks=("unit:Temp",),
        then={"unit:Temp": "°F"},
        gives=(f"p temperature [degF]: {AT}0:00 20.1",),
    ),
    Nasty(
        "unclear.csv",
        "a unit that could mean two things (ppm of nitrate)",
        _times("3.1", head="Time (UTC);Nitrate (ppm)"),
        P,
        asks=("unit:Nitrate (ppm)",),
        then={"unit:Nitrate (ppm)": "mg/L NO3"},
        gives=(f"p nitrate mg/L NO3: {AT}0:00 3.1",),
    ),
    Nasty(
        "gaps.csv",
        "empty cells, NA, NaN, ---, a lone point",
        _times("20.1", "", "NA", "NaN", "---", ".", "20.2"),
        P,
        gives=(f"p temperature Cel: {AT}0:00 20.1, {AT}6:00 20.2",),
        says=("no reading",),
    ),
    Nasty(
        "sentinel.csv",
        "-9999 where the logger had no reading",
        _times("20.1", "-9999", "-9999.0", "20.2"),
        P,
        gives=(f"p temperature Cel: {AT}0:00 20.1, {AT}3:00 20.2",),
        refused=((3, "mark for no reading"), (4, "mark for no")),
        says=("-9999, -9999.0 is taken for",),
    ),
    Nasty(
        "formula.csv",
        "cells that a spreadsheet would run",
        _times("=1+1", "20.1", "=cmd|'/C calc'!A0", "@SUM(A1)", "-1"),
        P,
        gives=(f"p temperature Cel: {AT}1:00 20.1, {AT}4:00 -1",),
        refused=((2, "a formula, which is never worked out"), (4, "a formula"), (5, "a formula")),
    ),
    Nasty(
        "text.csv",
        "words among the numbers, and a number in other digits",
        _times("20.1", "off", "20.1.2", "1e999", "٢٠"),
        P,
        gives=(f"p temperature Cel: {AT}0:00 20.1, {AT}4:00 20",),
        refused=((3, "'off' is no number"), (4, "'20.1.2'"), (5, "not finite")),
    ),
    Nasty(
        "signs.csv",
        "a true minus sign, a plus, an exponent, blanks around",
        _times("−1.5", "+2.5", "2.05e1", "  20.1 ", " 3"),
        P,
        gives=(f"p temperature Cel: {AT}0:00 -1.5, {AT}1:00 2.5, {AT}2:00 20.5, {AT}3:00 20.1, {AT}4:00 3",),
    ),
)
