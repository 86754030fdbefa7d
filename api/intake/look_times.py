"""Orders of day and month, zones and the doubled hour: proved from the whole file, else asked.

Must not do: guess one of them.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from itertools import pairwise

from api.domain.errors import InputError
from api.intake import survey, zones
from api.intake.asked import Asked
from api.intake.column import Column, Columns
from api.intake.header import Top
from api.intake.label_words import Role
from api.intake.recipe import Recipe, TimeRule
from api.intake.rows import Table
from api.intake.source import Kind
from api.intake.time_text import Said, day_ms
from api.intake.times import ORDER_WORDS


def rule(table: Table, top: Top, columns: Columns, asked: Asked) -> TimeRule:
    """How the times of a file are read, but for its doubled hour."""
    dated = columns.the(Role.TIME, Role.DATE)
    how = _serial(columns, asked)
    marks = _marks(columns, asked)
    order = _order(table, top, dated, asked) if how == "text" else ""
    clock = _clock(columns, dated, asked)
    zone = _zone(columns, dated, how, marks, asked)
    return TimeRule(how, order, zone, "refuse", clock, _falling(dated, order), marks)


def _serial(columns: Columns, asked: Asked) -> str:
    if columns.how == "epoch_s":
        asked.note("times are seconds since 1970 (UTC)")
    elif columns.how == "epoch_ms":
        asked.note("times are milliseconds since 1970 (UTC)")
    elif columns.how == "serial":
        start = asked.ask(
            "serial_start", "From which year does the spreadsheet count its days?",
            (("1900", "1900 (most spreadsheets)"), ("1904", "1904 (old ones)")),
            "times are numbers of days, and the two differ by four years", suggestion="1900", must=False,
        )  # fmt: skip
        asked.note(f"times are a spreadsheet's days since {start}")
        return "serial" if start == "1900" else "serial_1904"
    return columns.how


def _marks(columns: Columns, asked: Asked) -> dict[str, int]:
    """Zone letters with several meanings, as told."""
    found: dict[str, int] = {}
    for mark in dict.fromkeys(one.mark for column in columns.all for one in column.said if one.mark):
        told = asked.ask(
            f"zone:{mark}", f"Which offset from UTC does {mark} mean, such as -05:00?", (),
            "these letters stand for several zones",
        )  # fmt: skip
        if told is None:
            continue
        offset = zones.fixed_offset_ms(told)
        if offset is None:
            zones.check_zone(told)
            raise InputError(f"the answer zone:{mark}={told} must be an offset such as -05:00")
        found[mark] = offset // 60_000
    return found


def _order(table: Table, top: Top, dated: Column, asked: Asked) -> str:
    """The order of day, month and year; empty where every date says its own."""
    if dated.said and all(len(one.orders) < 2 for one in dated.said):
        return ""
    if table.kind is Kind.XLSX and any(len(one.orders) == 1 for one in dated.said):
        asked.note(
            f"doubt: some cells of {dated.name!r} are dates and others are text, as when a spreadsheet has swapped day"
            " and month in those it took for dates; compare them with the logger's own file"
        )
    found = survey.order(survey.dates(table, top, top.names.index(dated.name)))
    allowed = [one for one in ("dmy", "mdy", "ymd") if any(one in said.orders for said in dated.said)]
    possible = [one for one in found.possible if one in allowed]
    if len(possible) == 1:
        asked.note(f"dates are {ORDER_WORDS[possible[0]]}: {found.proof}" if found.proof else ORDER_WORDS[possible[0]])
        return possible[0]
    example = next((one for one in dated.said if one.date and len(one.orders) > 1), None)
    why = (
        f"the dates contradict each other, so that no order fits all: {found.proof}; those that do not fit are refused"
        if not possible else "no date of the whole file tells which is which"
    )  # fmt: skip
    return asked.ask(
        "date_order", f"How are the dates of column {dated.name!r} written?",
        [(one, _order_words(one, example)) for one in (possible or allowed)], why,
    ) or ""  # fmt: skip


def _order_words(order: str, example: Said | None) -> str:
    day = day_ms(example.date, order) if example is not None and example.date is not None else None
    if example is None or example.date is None or day is None:
        return ORDER_WORDS[order]
    written = "/".join(f"{one:02d}" for one in example.date)
    meant = datetime.fromtimestamp(day / 1000, UTC)
    return f"{ORDER_WORDS[order]} ({written} is {meant.day} {meant:%B %Y})"


def _clock(columns: Columns, dated: Column, asked: Asked) -> str:
    """The time of day of dates that have none."""
    if columns.of(Role.CLOCK) is not None or dated.holds != "date" or columns.how != "text":
        return ""
    told = asked.ask(
        "clock", f"At what time of day were the readings of column {dated.name!r} taken (HH:MM)?", (),
        "the file has dates without a clock time",
    )  # fmt: skip
    if told is None:
        return ""
    hour, _, minute = told.partition(":")
    if not (hour.isdigit() and minute.isdigit() and int(hour) < 24 and int(minute) < 60):
        raise InputError(f"the answer clock={told[:20]} is no time of day such as 08:30")
    return f"{int(hour):02d}:{int(minute):02d}"


def _zone(columns: Columns, dated: Column, how: str, marks: dict[str, int], asked: Asked) -> str:
    """The zone of times that name none."""
    if how.startswith("epoch"):
        return ""
    timed = columns.of(Role.CLOCK) or dated
    offset = columns.of(Role.OFFSET)
    if timed.said and all(one.offset_min is not None or one.mark for one in timed.said):
        asked.note("times name their offset from UTC")
        return ""
    header = timed.label.zone or dated.label.zone
    if header:
        asked.note(f"the header says that times are {header}")
        return header
    if offset is not None:
        asked.note(f"column {offset.name!r} says the offset from UTC")
        return ""
    zone = asked.ask(
        "zone", "In which zone was the clock of the logger? (Europe/Berlin, America/Denver, UTC, +02:00 ...)", (),
        "the times name none",
    )  # fmt: skip
    if zone is not None:
        zones.check_zone(zone)
    return zone or ""


def _falling(dated: Column, order: str) -> bool:
    """Whether the first rows run from new to old."""
    days = []
    for one in dated.said:
        use = one.orders[0] if len(one.orders) == 1 else order
        day = day_ms(one.date, use) if one.date is not None and use in one.orders else None
        if day is not None:
            days.append(day + (one.clock_ms or 0))
    return len(days) > 1 and sum(a > b for a, b in pairwise(days)) > len(days) / 2


def doubled_hour(table: Table, top: Top, recipe: Recipe, asked: Asked) -> Recipe:
    """The recipe with the doubled hour settled, by the order of the rows or by the answer."""
    if not recipe.time.zone or zones.fixed_offset_ms(recipe.time.zone) is not None:
        return recipe
    told = asked.answer("repeated_hour")
    found = survey.repeats(table, top, recipe) if told is None else {}
    doubt = survey.unsettled(found, falling=recipe.time.falling)
    how: str | None = "order"
    if told is not None or doubt is not None:
        stream, line = doubt or ("", 0)
        how = asked.ask(
            "repeated_hour", "Clocks went back within this file. What do times in the doubled hour mean?",
            (("earlier", "the first of the two hours (summer time)"), ("later", "the second (winter time)"),
             ("order", "the first until the rows go back, then the second"), ("refuse", "refuse these rows")),
            f"line {line}: the order of the rows{stream and ' of ' + stream} does not tell",
        )  # fmt: skip
    elif found:
        asked.note("clocks went back within this file; the order of the rows tells both hours apart")
    return replace(recipe, time=replace(recipe.time, repeated=how or "refuse"))
