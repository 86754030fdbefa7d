"""The question behind the page "Where the numbers come from": formulas, units, checks and flags, as the code has them.

Everything is read from the tables the service itself works with. Must not do: hold a number of its own, or format.
"""

from __future__ import annotations

from dataclasses import dataclass

from api.domain.checks import CheckLimits
from api.domain.quantity import Quantity
from api.domain.reading import CheckedReading, Flag
from api.domain.roomkeys import PROBE
from api.judge.check_defaults import USUAL_VOLUME_L, defaults
from api.judge.samples import usable
from api.science.agreement import Agreement, agreements
from api.science.arrays import Span
from api.science.formulas import FORMULAS, Formula
from api.science.references import BY_KEY, REFERENCES, Reference
from api.science.unit_table import TABLE


@dataclass(frozen=True, slots=True)
class FormulaLine:
    """A formula: what it gives, equation, unit, the ranges it is valid in, its sources, its place in the code."""

    name: str
    equation: str
    unit: str
    ranges: tuple[Span, ...]
    sources: tuple[Reference, ...]
    place: str


@dataclass(frozen=True, slots=True)
class FormulaGroup:
    """Formulas that the same published tables check, and how far they are from each table."""

    name: str
    formulas: tuple[FormulaLine, ...]
    tables: tuple[Agreement, ...]


@dataclass(frozen=True, slots=True)
class UnitLine:
    """A unit: canonical value = (value - ``zero``) * ``up`` / ``down``; ``basis`` says where the factor comes from."""

    code: str
    label: str
    up: float
    down: float
    zero: float
    basis: str


@dataclass(frozen=True, slots=True)
class QuantityLine:
    """A quantity with the units it is taken in, the canonical one first, and what its probes are checked by."""

    quantity: Quantity
    units: tuple[UnitLine, ...]
    limits: CheckLimits


@dataclass(frozen=True, slots=True)
class FlagLine:
    """A quality flag, and whether a reading that carries it is judged against care ranges."""

    flag: Flag
    judged: bool


@dataclass(frozen=True, slots=True)
class Numbers:
    """Everything the page shows; limits are those of a probe that speaks every ``every_s`` in ``volume_l`` of water."""

    groups: tuple[FormulaGroup, ...]
    sources: tuple[Reference, ...]
    quantities: tuple[QuantityLine, ...]
    flags: tuple[FlagLine, ...]
    every_s: float
    volume_l: float


def numbers() -> Numbers:
    """Where the numbers come from, at this version of the program."""
    every_s = next(float(key.default) for key in PROBE if key.name == "every_s")
    return Numbers(
        _groups(),
        REFERENCES,
        tuple(_quantity(quantity, every_s) for quantity in Quantity),
        tuple(FlagLine(flag, usable(_flagged(flag))) for flag in Flag),
        every_s,
        USUAL_VOLUME_L,
    )


def _groups() -> tuple[FormulaGroup, ...]:
    """Every formula in its group, and every published table in its own, whether or not a formula stands with it."""
    formulas: dict[str, list[FormulaLine]] = {}
    tables: dict[str, list[Agreement]] = {}
    for formula in FORMULAS:
        formulas.setdefault(formula.published or formula.name, []).append(_formula(formula))
    for table in agreements():
        tables.setdefault(table.group, []).append(table)
    names = [*formulas, *(name for name in tables if name not in formulas)]
    return tuple(FormulaGroup(name, tuple(formulas.get(name, ())), tuple(tables.get(name, ()))) for name in names)


def _formula(formula: Formula) -> FormulaLine:
    sources = tuple(BY_KEY[key] for key in formula.references)
    return FormulaLine(formula.name, formula.equation, formula.unit, formula.spans, sources, formula.path)


def _quantity(quantity: Quantity, every_s: float) -> QuantityLine:
    units = (UnitLine(unit.code, unit.label, unit.up, unit.down, unit.zero, unit.basis) for unit in TABLE[quantity])
    return QuantityLine(quantity, tuple(units), defaults(quantity, every_s))


def _flagged(flag: Flag) -> CheckedReading:
    """A reading with nothing else against it."""
    return CheckedReading("probe", Quantity.TEMPERATURE, 0, 20.0, "Cel", 20.0, flag)
