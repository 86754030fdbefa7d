"""Nasty files whose headers say more, or less, than names of columns."""

from __future__ import annotations

from tests.support.nasty import Nasty, rows

P = {"probe": "p"}
ZONED = {"probe": "p", "zone": "UTC"}
AT = "2024-03-01 10:00:00"

HEADERS = (
    Nasty(
        "serials.csv",
        "a title, a column of numbers, and the logger's serial number behind each unit",
        rows(
            '"Shelf by the door"',
            '"#","Date Time, GMT-07:00","Temp, °C (serial 4711)","DO conc, mg/L (serial 4711)","Stopped"',
            "1,2024-03-01 03:00:00,20.1,8.1,",
            "2,2024-03-01 03:05:00,,,yes",
        ),
        {"probe:serial 4711": "p"},
        gives=(f"p temperature Cel: {AT} 20.1", f"p oxygen mg/L: {AT} 8.1"),
    ),
    Nasty(
        "means.csv",
        "three rows of header: names, units, and what was made of the readings; a column of maxima",
        rows(
            "TIMESTAMP,RECORD,Batt_V,WaterTemp_Avg,WaterTemp_Max,DO_mgL",
            "TS,RN,Volts,Deg C,Deg C,mg/L",
            ",,Min,Avg,Max,Smp",
            f"{AT},1,12.9,20.1,20.9,8.1",
        ),
        ZONED,
        gives=(f"p temperature Cel: {AT} 20.1", f"p oxygen mg/L: {AT} 8.1"),
        says=("row of units",),
    ),
    Nasty(
        "first.csv",
        "a first row whose time is no time, which could be taken for units below the header",
        rows("probe,quantity,time,value,unit", "p,oxygen,soon,7,mg/L", f"p,oxygen,{AT}Z,8.1,mg/L"),
        {},
        gives=(f"p oxygen mg/L: {AT} 8.1",),
        says=("line 2, below the header, is no row of readings and is left out: 'p, oxygen, soon, 7, mg/L'",),
    ),
    Nasty(
        "hhmm.csv",
        "clock times as bare numbers, whose first zero a spreadsheet took",
        rows("Date,Time,Temp (°C)", "2024-03-01,905,20.1", "2024-03-01,1000,20.2", "2024-03-01,5,20.3"),
        ZONED,
        gives=("p temperature Cel: 2024-03-01 09:05:00 20.1, 2024-03-01 10:00:00 20.2, 2024-03-01 00:05:00 20.3",),
    ),
    Nasty(
        "fractions.csv",
        "clock times as fractions of a day beside dates",
        rows("Date,Time,Temp (°C)", "2024-03-01,0.4167,20.1"),
        ZONED,
        error="fractions.csv, line 1, column 'Time': it stands beside the dates, and its numbers are no clock times",
    ),
    Nasty(
        "unitbeside.csv",
        "one quantity, and its unit in a column beside it",
        rows("time,temperature,unit", f"{AT}Z,20.1,C", "2024-03-01 10:05:00Z,70,F", "2024-03-01 10:10:00Z,21,mg/L"),
        P,
        gives=(f"p temperature C: {AT} 20.1", "p temperature F: 2024-03-01 10:05:00 70"),
        refused=((4, "unit 'mg/L' is not one for temperature"),),
    ),
    Nasty(
        "underscores.csv",
        "a tank, a quantity and a unit in each name, with underscores",
        rows("date,time,tank_1_temp_c,tank_1_do_mg_l,tank_2_temp_f", "2024-03-01,10:00,20.1,8.1,70"),
        {"zone": "UTC"},
        gives=(
            f"tank-1 temperature Cel: {AT} 20.1",
            f"tank-1 oxygen mg/L: {AT} 8.1",
            f"tank-2 temperature [degF]: {AT} 70",
        ),
    ),
    Nasty(
        "channels.csv",
        "channels by number, each with a unit that only one quantity has",
        rows("Time (UTC),Ch1 [°C],Ch2 [µS/cm],Ch3 [%]", f"{AT},20.1,450,95"),
        gives=(
            f"Ch1 temperature Cel: {AT} 20.1",
            f"Ch2 conductivity uS/cm: {AT} 450",
            f"Ch3 oxygen_saturation %: {AT} 95",
        ),
    ),
    Nasty(
        "halfday.csv",
        "a 12-hour clock that lost its AM and PM: taken as written, and doubted",
        rows("Time (UTC),Temp (°C)", *(f"2024-03-01 {clock},20" for clock in ("11:30", "12:30", "01:30"))),
        P,
        gives=("p temperature Cel: 2024-03-01 11:30:00 20, 2024-03-01 12:30:00 20, 2024-03-01 01:30:00 20",),
        says=("doubt: times go back by almost twelve hours (first in line 4)",),
    ),
    Nasty(
        "state.csv",
        "a column named like a reading that holds words",
        rows("Time (UTC),Temp (°C),DO (mg/L)", f"{AT},20.1,ok"),
        P,
        gives=(f"p temperature Cel: {AT} 20.1",),
    ),
    Nasty(
        "hours.csv",
        "dates, and numbers that could be hours or minutes",
        rows("Date,Time,Temp (°C)", "2024-03-01,5,20.1", "2024-03-01,6,20.2"),
        ZONED,
        error="hours.csv, line 1, column 'Time': it stands beside the dates, and its numbers are no clock times",
    ),
    Nasty(
        "noughts.csv",
        "a spreadsheet's dates at midnight beside its clock times on day nought",
        rows(
            "Date,Time,Temp (°C)",
            "2024-03-01 00:00:00,1899-12-30 10:00:00,20.1",
            "2024-03-01 00:00:00,1899-12-30 00:05:00,20",
        ),
        ZONED,
        gives=(f"p temperature Cel: {AT} 20.1, 2024-03-01 00:05:00 20",),
    ),
    Nasty(
        "midnights.csv",
        "dates at midnight beside clock times",
        rows("Date,Time,Temp (°C)", "3/1/2024 12:00:00 AM,10:00,20.1", "3/13/2024 12:00:00 AM,10:00,20.2"),
        ZONED,
        gives=(f"p temperature Cel: {AT} 20.1, 2024-03-13 10:00:00 20.2",),
    ),
    Nasty(
        "swapped.csv",
        "a second header half way, with its columns the other way round",
        rows(
            "Time (UTC),Temp (°C),DO (mg/L)",
            f"{AT},20.1,8.1",
            "Time (UTC),DO (mg/L),Temp (°C)",
            f"{AT},8.1,20.1",
        ),
        P,
        error="swapped.csv, line 3, column 'Temp (°C)': a second header begins here, with 'DO (mg/L)' instead of 'Temp",
    ),
    Nasty(
        "isoamong.csv",
        "one ISO date among others, which says nothing of their order",
        rows("Time,Temp (°C)", "03/04/2024 10:00,20.1", "2024-08-23 10:00,20.2"),
        ZONED,
        asks=("date_order",),
        then={"date_order": "mdy"},
        gives=("p temperature Cel: 2024-03-04 10:00:00 20.1, 2024-08-23 10:00:00 20.2",),
    ),
    Nasty(
        "footer.csv",
        "blank rows, and a summary below the readings",
        rows("Time (UTC),Temp (°C)", f"{AT},20.1", ",", "", "2024-03-01 10:05:00,20.2", "Min,20.1", "Max,20.2"),
        P,
        gives=(f"p temperature Cel: {AT} 20.1, 2024-03-01 10:05:00 20.2",),
        refused=((6, "'Min' is no time"), (7, "'Max' is no time")),
    ),
    Nasty(
        "twoprobes.csv",
        "two columns named probe",
        rows("probe,probe,quantity,time,value,unit", f"a,b,oxygen,{AT}Z,7,mg/L"),
        asks=("probe_column",),
        then={"probe_column": "probe (column 2)"},
        gives=(f"b oxygen mg/L: {AT} 7",),
    ),
    Nasty(
        "twovalues.csv",
        "two columns named value",
        rows("probe,quantity,time,value,value,unit", f"a,oxygen,{AT}Z,7,8,mg/L"),
        error="twovalues.csv, line 1, column 'value (column 4)': several columns are named 'value'",
    ),
)
