"""A look at a file before anything is taken from it: how it is understood, what must be asked, its first rows.

Question keys (``answers`` and ``Recipe`` use the same; NAME is a column's name, or a name that stands in rows):

    zone            zone of times that name none: Europe/Berlin, UTC, +02:00           must
    zone:LETTERS    offset that EST, CST, IST ... mean here                             must
    date_order      dmy, mdy or ymd, where no date of the whole file proves it         must
    clock           HH:MM of dates without a clock time                                must
    repeated_hour   earlier, later, order or refuse, for the doubled hour              must, where the order leaves it
    serial_start    1900 or 1904, of a spreadsheet's days                              suggested: 1900
    time            which of several columns is the time                               must
    probe           id of the probe of readings that name none                         must
    probe:NAME      id of the probe that a column or a row's name means                suggested: the name as an id
    probe_column    which of several columns names the probe                           suggested: probe before tank
    quantity        what all columns with unknown names measure, or ``skip``           must, when nothing else is there
    quantity:NAME   what one column, or a word in rows, means, or ``skip``             suggested: skip
    unit:NAME       unit of a column, or of a quantity (unit:oxygen); ``unit`` for all must
    decimal         comma or point, where 1,234 could be both                          must
    sheet           which sheet of a workbook                                          must, when several hold cells
    last_line       refuse or take a last line that has no end                         suggested: refuse

Must not do: store anything, or take a suggestion for an answer where ``must`` is set.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType

from api.intake import columns as column_roles
from api.intake import header, look_times, look_units, survey
from api.intake.asked import Asked
from api.intake.column import Columns
from api.intake.header import Top
from api.intake.label_words import Role
from api.intake.look_words import columns_read, notes_of, preview
from api.intake.overview import overview, words
from api.intake.recipe import ColumnRule, Recipe
from api.intake.rows import Table
from api.intake.table import open_table
from api.intake.text_lines import ends_open
from api.intake.text_table import TextTable
from api.intake.understood import ColumnRead, Look, PreviewRow, Question

__all__ = ["ColumnRead", "Look", "PreviewRow", "Question", "look"]

NONE: Mapping[str, str] = MappingProxyType({})


def look(source: Path, answers: Mapping[str, str] = NONE, recipe: Recipe | None = None) -> Look:
    """How a file is understood, with the answers given so far and those of a recipe for files like it.

    Raises FileError (an InputError) when it cannot be read at all, with line and column where there is one, and
    InputError for an answer that cannot be.
    """
    asked = Asked(answers, _kept(recipe) if recipe is not None else {})
    table = open_table(source, "", asked.answer("sheet") or "")
    if len(table.sheets) > 1:
        asked.ask("sheet", "Which sheet holds the readings?", [(one, one) for one in table.sheets],
                  "several sheets hold cells", suggestion=table.sheet)  # fmt: skip
    top = header.find(source, table.head)
    found = column_roles.decide(source, top, asked)
    made = _recipe(table, top, found, asked)
    made = look_times.doubled_hour(table, top, made, asked) if not asked.open else made
    notes_of(table, top, found, asked)
    if not asked.open:
        asked.notes += words(
            survey.once(table, ("overview", repr(made)), lambda: overview(source, made)), falling=made.time.falling
        )
    zone_open = any(one.key.startswith("zone") for one in asked.questions)
    rows = preview(table, top, made, zone_open=zone_open)
    return Look(
        str(table.kind), None if asked.open else made, tuple(asked.questions), columns_read(found), rows,
        (*table.notes, *asked.notes),
    )  # fmt: skip


def _kept(recipe: Recipe) -> dict[str, str]:
    """What a recipe answers: what a keeper once did, and what a file like this one once proved."""
    proved = {"decimal": "comma" if recipe.decimal == "," else "point", "date_order": recipe.time.order}
    return {**proved, **recipe.answers}


def _recipe(table: Table, top: Top, found: Columns, asked: Asked) -> Recipe:
    decimal, grouped = look_units.decimal(found, asked)
    time = look_times.rule(table, top, found, asked)
    named = [found.of(role) for role in (Role.PROBE, Role.QUANTITY, Role.UNIT)]
    places = [top.names.index(one.name) for one in named if one is not None]
    texts: dict[tuple[str, ...], int] = {("", "", ""): 0}
    if places:
        there = [one is not None for one in named]
        texts = {}
        for key, line in survey.names(table, top, places).items():
            given = iter(key)
            texts[tuple(next(given) if one else "" for one in there)] = line
    quantities = look_units.quantities(found, texts, asked)
    units = look_units.units(found, texts, asked)
    probe, probes = look_units.probes(found, texts, asked)
    look_units.collisions(found, probe)
    rules = tuple(ColumnRule(one.name, one.role, one.quantity, one.unit, one.probe) for one in found.all)
    value = found.of(Role.VALUE)
    return Recipe(
        str(table.kind), table.delimiter, table.sheet if len(table.sheets) > 1 else "", rules, time, decimal, grouped,
        value.quantity if value is not None else "", probe, probes, units, quantities, _last_line(table, asked),
        {**asked.kept, **asked.answers},
    )  # fmt: skip


def _last_line(table: Table, asked: Asked) -> str:
    """What becomes of a last line without an end."""
    if not isinstance(table, TextTable) or not ends_open(table.source, table.text.encoding.codec):
        return asked.answer("last_line") or "refuse"
    choice = asked.ask(
        "last_line", "The last line has no end. Is the file finished?",
        (("refuse", "not sure: refuse the last line"), ("take", "yes: take the last line too")),
        "the file may still be written, or was cut short, and a number cut short looks like another number",
        suggestion="refuse", must=False,
    )  # fmt: skip
    asked.note("the last line has no end: " + ("it is taken, as told" if choice == "take" else "it is refused"))
    return choice or "refuse"
