"""The words of the page "Where the numbers come from": units, formulas, checks and flags as lines to read.

Pure. Must not do: hold a factor, a limit or a source of its own.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, fields

from api.domain.checks import CheckLimits
from api.domain.quantity import MEANING
from api.domain.reading import Flag
from api.services.molt_numbers import PriorLine, Reference
from api.services.numbers import FormulaGroup, FormulaLine, Numbers, QuantityLine, UnitLine
from dashboard.probes import LIMIT_WORDS
from dashboard.words import FLAG_WORDS, count

FLAG_MEANINGS = {
    Flag.GOOD: "every check that could run was passed",
    Flag.NOT_EVALUATED: "no check could be run yet; it is never counted as good",
    Flag.SUSPECT: "unlikely: a check says look at it",
    Flag.FAIL: "cannot be true, or its unit was not understood",
    Flag.MISSING: "a reading that should have come and did not",
}


UNITS = {"Cel": "°C", "degC": "°C", "uS/cm": "µS/cm", "umol": "µmol"}
"""Codes as pages write them."""
RAISED = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")
SMALL = 1e-4
NO_TABLE = "no published table of its own"
PERSON = re.compile(r"[^;,]+, [A-Z]\.")


@dataclass(frozen=True, slots=True)
class FormulaView:
    """A formula to read."""

    name: str
    equation: str
    unit: str
    ranges: str
    sources: tuple[tuple[str, str], ...]
    place: str


@dataclass(frozen=True, slots=True)
class TableView:
    """How far the formulas of a group are from one published table."""

    source: str
    rows: str
    largest: str
    tolerance: str
    unmet: str


@dataclass(frozen=True, slots=True)
class GroupView:
    """Formulas and the tables that check them; ``summary`` tells in a few words how they stand."""

    name: str
    summary: str
    formulas: tuple[FormulaView, ...]
    tables: tuple[TableView, ...]


@dataclass(frozen=True, slots=True)
class SourceView:
    """A source in full, and how it was read."""

    key: str
    text: str
    seen: str


@dataclass(frozen=True, slots=True)
class UnitView:
    """A unit and what becomes of a value in it."""

    code: str
    label: str
    becomes: str
    basis: str


@dataclass(frozen=True, slots=True)
class QuantityView:
    """A quantity's units and the usual limits of its checks."""

    name: str
    label: str
    kept: str
    note: str
    units: tuple[UnitView, ...]
    limits: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class FlagView:
    """A flag in words."""

    number: int
    word: str
    meaning: str
    judged: str


def group_views(numbers: Numbers) -> list[GroupView]:
    """Every formula and every published table."""
    return [_group(group) for group in numbers.groups]


def source_views(numbers: Numbers) -> list[SourceView]:
    """Every source, by the name it is called on the page."""
    made = [
        SourceView(one.key, f"{one.authors.rstrip('.')}. {one.year}. {one.title}. {one.where}.", one.seen)
        for one in numbers.sources
    ]
    return sorted(made, key=lambda view: view.text.lower())


def _group(group: FormulaGroup) -> GroupView:
    rows = sum(table.rows for table in group.tables)
    tables = count(len(group.tables), "published table")
    held = all(table.largest <= table.tolerance for table in group.tables)
    within = "within" if held else "NOT within"
    summary = f"{count(rows, 'figure')} of {tables}, {within} what is tolerated" if group.tables else NO_TABLE
    return GroupView(
        group.name,
        summary,
        tuple(_formula(formula) for formula in group.formulas),
        tuple(
            TableView(
                plain(table.source),
                f"{table.rows}",
                _difference(table.largest, table.unit) if table.largest else "none",
                _difference(table.tolerance, table.unit),
                f"{table.unmet} more cannot be met; tests/published/unmet.json says why" if table.unmet else "",
            )
            for table in group.tables
        ),
    )


def _formula(line: FormulaLine) -> FormulaView:
    ranges = (f"{span.name} {_number(span.low)} to {_number(span.high)} {unit_word(span.unit)}" for span in line.ranges)
    sources = tuple((one.key, f"{short(one.authors)} {one.year}") for one in line.sources)
    text = "; ".join(part.strip() for part in ranges)
    return FormulaView(line.name, plain(line.equation), unit_word(line.unit), text, sources, line.place)


def short(authors: str) -> str:
    """Authors as a sentence names them: "Benson & Krause", "Emerson and others"."""
    if not PERSON.match(authors):
        return authors
    names = [person.split(",")[0].strip() for person in authors.split(";")]
    if len(names) > 2 or authors.endswith("and others"):
        return f"{names[0]} and others"
    return " & ".join(names)


def unit_word(unit: str) -> str:
    """A unit as pages write it; a pure number has none."""
    for code, word in UNITS.items():
        unit = unit.replace(code, word)
    return "" if unit == "1" else unit


def plain(text: str) -> str:
    """Text with a true minus sign before digits and between spaces."""
    return re.sub(r"(?<=[ (^e])-(?=[ \d])", "\N{MINUS SIGN}", text)


def _number(value: float) -> str:
    return f"\N{MINUS SIGN}{amount(-value)}" if value < 0 else amount(value)


def _difference(value: float, unit: str) -> str:
    """Three digits; with a power of ten where there would be many zeros."""
    digits, power = f"{value:.2e}".split("e")
    small = f"{float(digits):g} × 10{str(int(power)).translate(RAISED)}"
    return f"{small if 0 < value < SMALL else f'{value:.3g}'} {unit_word(unit)}".strip()


def quantity_views(numbers: Numbers) -> list[QuantityView]:
    """Every quantity."""
    return [_quantity(line) for line in numbers.quantities]


def flag_views(numbers: Numbers) -> list[FlagView]:
    """Every flag."""
    words = {True: "judged against care ranges", False: "not judged; the tank counts as not known"}
    return [
        FlagView(int(line.flag), FLAG_WORDS[line.flag], FLAG_MEANINGS[line.flag], words[line.judged])
        for line in numbers.flags
    ]


def _quantity(line: QuantityLine) -> QuantityView:
    meaning = MEANING[line.quantity]
    kept = line.units[0]
    return QuantityView(
        name=line.quantity,
        label=meaning.label,
        kept=meaning.unit_label,
        note=meaning.note,
        units=tuple(UnitView(unit.code, unit.label, becomes(unit, kept), unit.basis) for unit in line.units[1:]),
        limits=tuple(limit_lines(line.limits)),
    )


def becomes(unit: UnitLine, kept: UnitLine) -> str:
    """What one of a unit is in the one a quantity is kept in; as a rule where their zeros differ."""
    if not unit.zero:
        return f"1 {unit.label} = {amount(unit.up / unit.down)} {kept.label}"
    shifted = f"{unit.label} \N{MINUS SIGN} {unit.zero:g}"
    scaled = shifted if unit.up == unit.down else f"({shifted}) × {unit.up:g} / {unit.down:g}"
    return f"{kept.label} = {scaled}"


def amount(value: float) -> str:
    """A factor to seven digits, without a power of ten."""
    text = f"{value:.7g}"
    if "e" not in text:
        return text
    return f"{value:.12f}".rstrip("0") if value < 1 else f"{value:.0f}"


def limit_lines(limits: CheckLimits) -> list[tuple[str, str]]:
    """The limits that are set, in words."""
    return [
        (LIMIT_WORDS[field.name], _number(getattr(limits, field.name)))
        for field in fields(limits)
        if getattr(limits, field.name) != field.default
    ]


def prior_words(line: PriorLine) -> str:
    """A prior figure with its spread and unit."""
    unit = "" if line.unit == "1" else f" {unit_word(line.unit)}"
    spread = f" ± {line.sd:g}" if line.sd else ""
    return f"{round(line.value, 3):g}{spread}{unit}"


def source_name(source: Reference) -> str:
    """What a source is called on the page."""
    return f"{short(source.authors)} {source.year}"
