"""The words of the page "Where the numbers come from": units, formulas, checks and flags as lines to read.

Pure. Must not do: hold a factor, a limit or a source of its own.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

from api.domain.checks import CheckLimits
from api.domain.quantity import MEANING
from api.domain.reading import Flag
from api.services.numbers import Numbers, QuantityLine, UnitLine
from dashboard.probes import LIMIT_WORDS
from dashboard.words import FLAG_WORDS

FLAG_MEANINGS = {
    Flag.GOOD: "every check that could run was passed",
    Flag.NOT_EVALUATED: "no check could be run yet; it is never counted as good",
    Flag.SUSPECT: "unlikely: a check says look at it",
    Flag.FAIL: "cannot be true, or its unit was not understood",
    Flag.MISSING: "a reading that should have come and did not",
}


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
    return f"{value:.12f}".rstrip("0") if value < 1 else f"{value:,.0f}".replace(",", "\N{NARROW NO-BREAK SPACE}")


def limit_lines(limits: CheckLimits) -> list[tuple[str, str]]:
    """The limits that are set, in words."""
    return [
        (LIMIT_WORDS[field.name], f"{getattr(limits, field.name):g}".replace("-", "\N{MINUS SIGN}"))
        for field in fields(limits)
        if getattr(limits, field.name) != field.default
    ]
