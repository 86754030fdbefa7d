"""One cell that says a date, a clock time or both: taken apart, without deciding what only the whole file can tell.

Day and month stay as they stand until an order is given. ISO 8601, RFC 3339, numeric and named months, 12-hour
clocks. Must not do: guess an order or a zone, or take 25:00 for a time.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

ORDERS = ("ymd", "dmy", "mdy")
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MONTH_WORDS = (
    "jan januar january janvier janv enero ene gennaio gen", "feb februar february fév févr février febrero febbraio",
    "mar march mär mrz märz mars marzo", "apr april avr avril abr abril aprile", "may mai mayo mag maggio",
    "jun june juni juin junio giu giugno", "jul july juli juil juillet julio lug luglio",
    "aug august août aou ago agosto", "sep sept september septembre septiembre set settembre",
    "oct october okt oktober octobre octubre ott ottobre", "nov november novembre noviembre",
    "dec december dez dezember déc décembre dic diciembre dicembre",
)  # fmt: skip
MONTHS = {word: at for at, words in enumerate(_MONTH_WORDS, 1) for word in words.split()}
ZONE_MARKS = {"z": 0, "utc": 0, "gmt": 0, "ut": 0, "cet": 60, "mez": 60, "cest": 120, "mesz": 120, "eet": 120,
              "eest": 180, "wet": 0, "west": 60}  # fmt: skip
"""Marks with one meaning, in minutes east; EST, CST, IST, BST and such have several and are asked about."""

_NAME = r"[^\W\d_]{3,10}"
_DATE = re.compile(
    rf"(?:{_NAME}[.,]*\s+(?=\d|{_NAME}))?(?:"
    r"(?P<y2>\d{4})(?P<m2>\d{2})(?P<d2>\d{2})(?=\D|\Z|\d{4}(?:\d{2})?(?!\d))"
    r"|(?:(?P<y1>\d{4})(?P<s1>[-/.])(?P<m1>\d{1,2})(?P=s1)(?P<d1>\d{1,2})"
    r"|(?P<a>\d{1,2})(?P<s2>[-/.])(?P<b>\d{1,2})(?P=s2)(?P<c>\d{4}|\d{2})"
    rf"|(?P<d3>\d{{1,2}})[-/ .]{{1,2}}(?P<n3>{_NAME})[-/ .,]{{1,2}}(?P<y3>\d{{4}}|\d{{2}})"
    rf"|(?P<n4>{_NAME})[ .]{{1,2}}(?P<d4>\d{{1,2}}),? (?P<y4>\d{{4}})"
    rf"|(?P<y5>\d{{4}})[-/ ](?P<n5>{_NAME})[-/ ](?P<d5>\d{{1,2}})"
    r")(?!\d))",
    re.IGNORECASE,
)
_CLOCK = re.compile(
    r"(?:(?P<h>\d{1,2})[:hH](?P<m>\d{1,2})(?:[:m](?P<s>\d{1,2})(?:[.,:](?P<f>\d{1,9}))?s?)?"
    r"|(?P<h2>\d{2})(?P<m2>\d{2})(?P<s2>\d{2})?(?:[.,](?P<f2>\d{1,9}))?|(?P<h3>\d{1,2})(?=\s*[ap]\.?m))"
    r"\s*(?P<half>[ap]\.?\s?m\.?)?",
    re.IGNORECASE,
)
_OFFSET = re.compile(r"(?:(?:UTC|GMT)\s?)?(?P<sign>[-+−])(?P<h>\d{1,2})(?::?(?P<m>\d{2}))?\Z", re.IGNORECASE)
_PADDED = re.compile(r"(?<=\d)([-/.:])\s+(?=\d)")
"""A blank where a zero was left out, as in ``17. 6.2005``."""
_MARK = re.compile(r"[(\[]?([A-Za-z]{1,5})[)\]]?\Z")


@dataclass(frozen=True, slots=True)
class Said:
    """What a cell says. ``date`` holds its three numbers as they stand and ``orders`` how they may be read.

    ``clock_ms`` since midnight, ``offset_min`` east of Greenwich, ``mark`` a zone's letters of more than one meaning;
    None or empty where the cell does not say it. ``half`` is whether the clock has AM or PM.
    """

    date: tuple[int, int, int] | None
    orders: tuple[str, ...]
    clock_ms: int | None
    offset_min: int | None
    mark: str
    half: bool
    short_year: bool


def said(text: str) -> Said | None:
    """What a cell says, None when it is neither a date nor a clock time."""
    text = _PADDED.sub(r"\1", text.strip().strip("'\"").strip())
    if not text or len(text) > 60 or not any(map(str.isdigit, text)):
        return None
    date = _date(text)
    rest = text[date[3] :] if date else text
    if date and rest[:1] in ("T", "t", "_", ",", ";", " ", "-", ":") and len(rest) > 1:
        rest = rest[1:].strip()
    rest = rest.strip()
    if date and not rest:
        return Said(date[0], date[1], None, None, "", False, date[2])
    clock = _CLOCK.match(rest)
    if clock is None or (date is None and clock["h"] is None and clock["h3"] is None):
        return None
    clock_ms = _clock_ms(clock)
    zone = _zone(rest[clock.end() :].strip())
    if clock_ms is None or zone is None:
        return None
    return Said(
        date[0] if date else None, date[1] if date else (), clock_ms, zone[0], zone[1], clock["half"] is not None,
        date is not None and date[2],
    )  # fmt: skip


def _date(text: str) -> tuple[tuple[int, int, int], tuple[str, ...], bool, int] | None:
    """The three numbers, their possible orders, whether the year has two digits, and where the date ends."""
    found = _DATE.match(text)
    if found is None:
        return None
    part, end = found.groupdict(), found.end()
    for year, month, day in (("y1", "m1", "d1"), ("y2", "m2", "d2")):
        if part[year]:
            return (int(part[year]), int(part[month]), int(part[day])), ("ymd",), False, end
    if part["a"]:
        short = len(part["c"]) == 2
        numbers = int(part["a"]), int(part["b"]), int(part["c"])
        return numbers, ORDERS if short and len(part["a"]) == 2 else ORDERS[1:], short, end
    for year, name, day in (("y3", "n3", "d3"), ("y4", "n4", "d4"), ("y5", "n5", "d5")):
        if part[name]:
            number = MONTHS.get(part[name].casefold())
            if number is None:
                return None
            if year != "y3":
                return (int(part[year]), number, int(part[day])), ("ymd",), False, end
            short = len(part[year]) == 2
            orders = ("dmy", "ymd") if short and len(part[day]) == 2 else ("dmy",)
            return (int(part[day]), number, int(part[year])), orders, short, end
    return None


def _clock_ms(found: re.Match[str]) -> int | None:
    """Milliseconds since midnight; 24:00 ends a day (ISO 8601), a leap second is the next second (POSIX 4.16)."""
    hour = int(found["h"] or found["h2"] or found["h3"])
    minute, second = int(found["m"] or found["m2"] or 0), int(found["s"] or found["s2"] or 0)
    fraction = found["f"] or found["f2"] or "0"
    if found["half"]:
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + (12 if found["half"][0] in "pP" else 0)
    if minute > 59 or second > 60 or hour > 24 or (hour == 24 and (minute, second) != (0, 0)):
        return None
    return ((hour * 60 + minute) * 60 + second) * 1000 + int(fraction[:3].ljust(3, "0"))


def _zone(text: str) -> tuple[int | None, str] | None:
    """Minutes east and the letters that name a zone; None when the text is no zone."""
    if not text:
        return None, ""
    offset = _OFFSET.match(text)
    if offset:
        minutes = int(offset["h"]) * 60 + int(offset["m"] or 0)
        return None if minutes > 18 * 60 else (minutes if offset["sign"] == "+" else -minutes, "")
    mark = _MARK.match(text)
    if mark is None:
        return None
    known = ZONE_MARKS.get(mark[1].casefold())
    return (None, mark[1].upper()) if known is None else (known, "")


def day_ms(numbers: tuple[int, int, int], order: str) -> int | None:
    """Milliseconds from 1970 to the day three numbers mean in an order; None when there is no such day.

    Two-digit years as in POSIX: 69 to 99 lie before 2000.
    """
    year, month, day = (numbers[order.index(letter)] for letter in "ymd")
    if year < 100:
        year += 1900 if year >= 69 else 2000
    try:
        return (datetime(year, month, day, tzinfo=UTC) - EPOCH) // timedelta(milliseconds=1)
    except ValueError:
        return None
