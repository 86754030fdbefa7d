"""Nasty files whose times are odd. Expected UTC times were worked out by hand from each zone's published rules:

Europe/Berlin went to summer time at 01:00 UTC on 2024-03-31 and back at 01:00 UTC on 2024-10-27 (Directive
2000/84/EC); spreadsheets count days from 1899-12-30 (ECMA-376 part 1, 18.17.4.1, section from memory: 45352 is
2024-03-01); the examples of RFC 3339, section 5.8; a leap second is the next second (POSIX.1-2017, 4.16).
"""

from __future__ import annotations

from tests.support.nasty import Nasty, rows

P = {"probe": "p"}
BERLIN = {"probe": "p", "zone": "Europe/Berlin"}


def _of(*times: str, head: str = "Time,Temp (°C)") -> bytes:
    return rows(head, *(f"{time},{20 + at}" for at, time in enumerate(times)))


def _p(*times: str) -> tuple[str, ...]:
    return ("p temperature Cel: " + ", ".join(f"{time} {20 + at}" for at, time in enumerate(times) if time),)


AUTUMN = tuple(f"2024-10-27 {clock}" for clock in ("01:30", "02:00", "02:30", "02:00", "02:30", "03:00"))

TIMES = (
    Nasty(
        "either-order.csv",
        "03/04/2024: no date of the file tells day from month",
        _of("03/04/2024 10:00", "05/04/2024 10:00"),
        {**P, "zone": "UTC"},
        asks=("date_order",),
        then={"date_order": "mdy"},
        gives=_p("2024-03-04 10:00:00", "2024-05-04 10:00:00"),
    ),
    Nasty(
        "month-first.csv",
        "the last row alone, a 25th, proves that the month comes first",
        _of(*(f"3/{day}/2024 10:00" for day in (1, 2, 3, 4, 25))),
        {**P, "zone": "UTC"},
        gives=_p(*(f"2024-03-{day:02d} 10:00:00" for day in (1, 2, 3, 4, 25))),
        says=("line 6 has '3/25/2024'",),
    ),
    Nasty(
        "both-orders.csv",
        "one date can only be day first, another only month first",
        _of("25/03/2024 10:00", "03/26/2024 10:00", "03/04/2024 10:00"),
        {**P, "zone": "UTC"},
        asks=("date_order",),
        then={"date_order": "dmy"},
        gives=("p temperature Cel: 2024-03-25 10:00:00 20, 2024-04-03 10:00:00 22",),
        refused=((3, "no such day when it is read as day, month, year"),),
    ),
    Nasty(
        "short-year.csv",
        "two-digit years: 01.02.03 has three readings of its own",
        _of("01.02.03 10:00", "02.02.03 10:00"),
        {**P, "zone": "UTC"},
        asks=("date_order",),
        then={"date_order": "ymd"},
        gives=_p("2001-02-03 10:00:00", "2002-02-03 10:00:00"),
    ),
    Nasty(
        "twelve.csv",
        "a 12-hour clock, with noon and midnight in it",
        _of(
            "2024-03-01 12:00 AM",
            "2024-03-01 11:59 a.m.",
            "2024-03-01 12:30 PM",
            "2024-03-01 1:00 pm",
            "2024-03-01 13:00 PM",
        ),
        {**P, "zone": "UTC"},
        gives=_p("2024-03-01 00:00:00", "2024-03-01 11:59:00", "2024-03-01 12:30:00", "2024-03-01 13:00:00"),
        refused=((6, "is no time"),),
    ),
    Nasty(
        "names.csv",
        "months by name, in English and German",
        _of("1 Mar 2024 10:00", "02-MAR-2024 10:00", "3. März 2024 10:00", "Mar 4, 2024 10:00"),
        {**P, "zone": "UTC"},
        gives=("p temperature Cel: 2024-03-01 10:00:00 20, 2024-03-02 10:00:00 21, 2024-03-03 10:00:00 22",),
        refused=((5, "it has 3 cells where the header has 2"),),
    ),
    Nasty(
        "parted.csv",
        "date and time of day in two columns",
        rows("Date,Time,Temp (°C)", "2024-03-01,10:00,20", "2024-03-01,10:05:30,21"),
        {**P, "zone": "+05:30"},
        gives=_p("2024-03-01 04:30:00", "2024-03-01 04:35:30"),
    ),
    Nasty(
        "rfc3339.csv",
        "the examples of RFC 3339, with a leap second",
        _of(
            "1985-04-12T23:20:50.52Z",
            "1996-12-19T16:39:57-08:00",
            "1990-12-31T23:59:60Z",
            "1990-12-31T15:59:60-08:00",
            "1937-01-01T12:00:27.87+00:20",
        ),
        P,
        gives=_p(
            "1985-04-12 23:20:50.520",
            "1996-12-20 00:39:57",
            "1991-01-01 00:00:00",
            "1991-01-01 00:00:00",
            "1937-01-01 11:40:27.870",
        ),
    ),
    Nasty(
        "basic.csv",
        "ISO 8601 without signs, and the end of a day as 24:00",
        _of("20240301T100000Z", "20240301 1005Z", "2024-03-01T24:00Z"),
        P,
        gives=_p("2024-03-01 10:00:00", "2024-03-01 10:05:00", "2024-03-02 00:00:00"),
    ),
    Nasty(
        "offsets.csv",
        "each row with an offset of its own",
        _of("2024-03-01T10:00:00+01:00", "2024-03-01 10:00 UTC+2", "2024-03-01T10:00:00 -0500", "2024-03-01 10:00 CET"),
        P,
        gives=_p("2024-03-01 09:00:00", "2024-03-01 08:00:00", "2024-03-01 15:00:00", "2024-03-01 09:00:00"),
    ),
    Nasty(
        "est.csv",
        "zone letters that mean several zones",
        _of("2024-03-01 10:00 EST", "2024-07-01 10:00 EDT"),
        P,
        asks=("zone:EST", "zone:EDT"),
        then={"zone:EST": "-05:00", "zone:EDT": "-04:00"},
        gives=_p("2024-03-01 15:00:00", "2024-07-01 14:00:00"),
    ),
    Nasty(
        "zone-in-header.csv",
        "the offset in the header",
        _of("2024-03-01 10:00:00", head='"Date Time, GMT-07:00",Temp (°C)'),
        P,
        gives=_p("2024-03-01 17:00:00"),
        says=("times are -07:00",),
    ),
    Nasty(
        "zone-column.csv",
        "the offset in a column of its own",
        rows("time,utc offset,temp_c", "2024-03-01 10:00,+2,20", "2024-03-01 10:00,-3,21"),
        P,
        gives=_p("2024-03-01 08:00:00", "2024-03-01 13:00:00"),
    ),
    Nasty(
        "nozone.csv",
        "no zone anywhere",
        _of("2024-03-01 10:00", "2024-07-01 10:00"),
        P,
        asks=("zone",),
        then={"zone": "Europe/Berlin"},
        gives=_p("2024-03-01 09:00:00", "2024-07-01 08:00:00"),
    ),
    Nasty(
        "epoch.csv",
        "seconds since 1970, one with a fraction",
        _of("1709287200", "1709287260.25"),
        P,
        gives=_p("2024-03-01 10:00:00", "2024-03-01 10:01:00.250"),
        says=("seconds since 1970",),
    ),
    Nasty(
        "epochms.csv",
        "milliseconds since 1970; one row in seconds",
        _of("1709287200000", "1709287260500", "1709287320"),
        P,
        gives=_p("2024-03-01 10:00:00", "2024-03-01 10:01:00.500"),
        refused=((4, "is no time between 1990 and 2200"),),
    ),
    Nasty(
        "serial.csv",
        "a spreadsheet's days as numbers",
        _of("45352.4166666667", "45352.4173611111"),
        {**P, "zone": "UTC"},
        gives=_p("2024-03-01 10:00:00", "2024-03-01 10:01:00"),
        says=("days since 1900",),
    ),
    Nasty(
        "dates.csv",
        "dates without a time of day",
        _of("2024-03-01", "2024-03-02"),
        {**P, "zone": "UTC"},
        asks=("clock",),
        then={"clock": "08:30"},
        gives=_p("2024-03-01 08:30:00", "2024-03-02 08:30:00"),
    ),
    Nasty("clocks.csv", "times of day without dates", _of("10:00", "10:05"), P, error="no column has their dates"),
    Nasty(
        "spring.csv",
        "times within the hour that daylight saving leaves out",
        _of("2024-03-31 01:30", "2024-03-31 02:30", "2024-03-31 03:30"),
        BERLIN,
        gives=("p temperature Cel: 2024-03-31 00:30:00 20, 2024-03-31 01:30:00 22",),
        refused=((3, "never on the clock in Europe/Berlin"),),
    ),
    Nasty(
        "autumn.csv",
        "the doubled hour, gone through twice: the order of the rows tells",
        _of(*AUTUMN),
        BERLIN,
        gives=_p(
            *(
                f"2024-10-{day} {clock}:00"
                for day, clock in (
                    ("26", "23:30"),
                    ("27", "00:00"),
                    ("27", "00:30"),
                    ("27", "01:00"),
                    ("27", "01:30"),
                    ("27", "02:00"),
                )
            )
        ),
        says=("the order of the rows tells",),
    ),
    Nasty(
        "autumn-back.csv",
        "the doubled hour in a file that runs from new to old",
        _of(*reversed(AUTUMN)),
        BERLIN,
        gives=_p(
            *(
                f"2024-10-{day} {clock}:00"
                for day, clock in (
                    ("27", "02:00"),
                    ("27", "01:30"),
                    ("27", "01:00"),
                    ("27", "00:30"),
                    ("27", "00:00"),
                    ("26", "23:30"),
                )
            )
        ),
    ),
    Nasty(
        "autumn-once.csv",
        "the doubled hour, gone through once: which of the two is not said",
        _of(*AUTUMN[:3], AUTUMN[5]),
        BERLIN,
        asks=("repeated_hour",),
        then={"repeated_hour": "later"},
        gives=_p("2024-10-26 23:30:00", "2024-10-27 01:00:00", "2024-10-27 01:30:00", "2024-10-27 02:00:00"),
    ),
    Nasty(
        "autumn-refused.csv",
        "the same, and the keeper does not know either",
        _of(*AUTUMN[:3], AUTUMN[5]),
        {**BERLIN, "repeated_hour": "refuse"},
        gives=("p temperature Cel: 2024-10-26 23:30:00 20, 2024-10-27 02:00:00 23",),
        refused=((3, "doubled hour"), (4, "doubled hour")),
    ),
    Nasty(
        "autumn-probes.csv",
        "the doubled hour of two probes, one after the other",
        rows("probe,time,temp_c", *(f"{probe},{time},20" for probe in ("a", "b") for time in AUTUMN[1:5])),
        {"zone": "Europe/Berlin"},
        gives=tuple(
            f"{probe} temperature Cel: 2024-10-27 00:00:00 20, 2024-10-27 00:30:00 20, 2024-10-27 01:00:00 20,"
            " 2024-10-27 01:30:00 20"
            for probe in ("a", "b")
        ),
    ),
    Nasty(
        "back.csv",
        "times that go back: taken, and said",
        _of("2024-03-01T10:02Z", "2024-03-01T10:00Z", "2024-03-01T10:01Z"),
        P,
        gives=_p("2024-03-01 10:02:00", "2024-03-01 10:00:00", "2024-03-01 10:01:00"),
        says=("times go back in 1 row",),
    ),
    Nasty(
        "nonsense.csv",
        "days and hours that do not exist",
        _of("2024-02-30 10:00Z", "2024-02-29 25:00Z", "2024-02-29 10:61Z", "2024-02-29 10:00Z"),
        P,
        gives=("p temperature Cel: 2024-02-29 10:00:00 23",),
        refused=((2, "no such day"), (3, "is no time"), (4, "is no time")),
    ),
    Nasty(
        "two-times.csv",
        "a local time and a UTC time: the one that says its zone is taken",
        rows("Local time,UTC time (UTC),Temp (°C)", "2024-03-01 11:00,2024-03-01 10:00,20"),
        P,
        gives=_p("2024-03-01 10:00:00"),
    ),
)
