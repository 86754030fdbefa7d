"""A column of numbers: cast at once where it can be, each other text once by itself.

Must not do: take a text for a number that could be two numbers; run or follow a formula.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

import numpy as np
import polars as pl
from numpy.typing import NDArray

from api.intake.errors import shown
from api.intake.labels import is_unit

MISSING = frozenset((
    "", "na", "n/a", "#n/a", "nan", "null", "none", "nil", "-", "--", "---", "----", "-----", "n.a.", "k.a.", "*", "?",
    "missing", "no data", "nodata", "bad", "error", "err", "#value!", "#ref!", "#div/0!", "#num!", "#name?", "ovrflw",
    "\\n", "<na>", ".", "…", "–", "—",
))  # fmt: skip
"""Marks for "no reading", in lower case."""
SENTINELS = (-9999.0, -999.9, -999.0, -99.99, -999.99, -9999.9, -99999.0, -6999.0, -7999.0, 9999.0, -32768.0)
"""Numbers that loggers write for "no reading"; none is a value tank water can have."""
_DOT = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d{1,3})?")
_GROUPED = {
    ".": re.compile(r"[-+]?\d{1,3}(?:(?P<s>[,' ])\d{3})(?:(?P=s)\d{3})*(?:\.\d+)?"),
    ",": re.compile(r"[-+]?\d{1,3}(?:(?P<s>[.' ])\d{3})(?:(?P=s)\d{3})*(?:,\d+)?"),
}
_WITH_UNIT = re.compile(r"(?P<n>[-+−]?[\d.,]+(?:[eE][-+]?\d+)?)\s*(?P<u>[A-Za-zµμ°º%‰\[][^;=]{0,20})")


@dataclass(slots=True)
class Numbers:
    """``values`` with NaN where there is none; ``bad`` says why a text is none (an empty cell is no reading, not bad).

    ``units`` has the unit that stands in the cell, by row.
    """

    values: NDArray[np.float64]
    bad: dict[int, str] = field(default_factory=dict)
    units: dict[int, str] = field(default_factory=dict)


def read_numbers(column: pl.Series, decimal: str = ".", grouped: bool = False) -> Numbers:
    """Numbers from text or from a typed column; ``grouped`` where a thousands separator has been proved."""
    if not column.dtype == pl.String:
        return _typed(column)
    plain = column
    if decimal == ",":
        # A point here is no decimal sign: such a text goes the slow way.
        plain = column.str.replace_all(".", "x", literal=True).str.replace(",", ".", literal=True)
    cast = plain.cast(pl.Float64, strict=False)
    values = np.array(cast.to_numpy(), np.float64)
    out = Numbers(values)
    strange = np.isinf(values)
    if cast.null_count() > column.null_count():
        strange |= (cast.is_null() & column.is_not_null()).to_numpy()
    rows = np.flatnonzero(strange)
    if len(rows):
        _one_by_one(column.gather(rows), rows, decimal, grouped, out)
    _sentinels(out)
    return out


def _typed(column: pl.Series) -> Numbers:
    """A column that holds numbers already; anything else than numbers is refused cell by cell."""
    if not column.dtype.is_numeric() and column.dtype != pl.Null:
        return read_numbers(column.cast(pl.String, strict=False))
    values = np.array(column.cast(pl.Float64).to_numpy(), np.float64)
    out = Numbers(values)
    for row in np.flatnonzero(np.isinf(values)).tolist():
        out.bad[row], values[row] = "it is not finite", np.nan
    _sentinels(out)
    return out


def _sentinels(out: Numbers) -> None:
    # fmin and fmax pass over the gaps.
    if np.fmin.reduce(out.values, initial=0.0) > -99.0 and np.fmax.reduce(out.values, initial=0.0) < 9999.0:
        return
    for row in np.flatnonzero(np.isin(out.values, SENTINELS)).tolist():
        out.bad[row] = f"{out.values[row]:g} is a logger's mark for no reading"
        out.values[row] = np.nan


def _one_by_one(texts: pl.Series, rows: NDArray[np.int64], decimal: str, grouped: bool, out: Numbers) -> None:
    """Each different text once."""
    known: dict[str, tuple[float, str, str]] = {}
    for row, text in zip(rows.tolist(), texts.to_list(), strict=True):
        if text not in known:
            known[text] = number(text, decimal, grouped)
        value, unit, why = known[text]
        out.values[row] = value
        if why:
            out.bad[row] = why
        if unit:
            out.units[row] = unit


def number(text: str, decimal: str = ".", grouped: bool = False) -> tuple[float, str, str]:
    """What one cell says: a number, the unit in the cell, and why it is none; all empty for a missing-value mark."""
    bare = text.strip().strip('"').strip().removeprefix("'").strip().replace("−", "-")
    if bare.casefold() in MISSING:
        return np.nan, "", ""
    whole = _plain(bare, decimal, grouped)
    if whole is not None:
        return (whole, "", "") if np.isfinite(whole) else (np.nan, "", f"{shown(text)} is not finite")
    with_unit = _WITH_UNIT.fullmatch(bare)
    if with_unit and is_unit(with_unit["u"]):
        value = _plain(with_unit["n"].replace("−", "-"), decimal, grouped)
        if value is not None:
            return value, with_unit["u"].strip(), ""
    return np.nan, "", _why(text, bare, decimal)


def _plain(bare: str, decimal: str, grouped: bool) -> float | None:
    text = bare
    if grouped and _GROUPED[decimal].fullmatch(bare):
        text = re.sub(r"[.' ]" if decimal == "," else r"[,' ]", "", bare)
    if decimal == ",":
        if "." in text:
            return None
        text = text.replace(",", ".", 1)
    return float(text) if _DOT.fullmatch(text) else None


def _why(text: str, bare: str, decimal: str) -> str:
    other = "," if decimal == "." else "."
    if bare.startswith(("=", "@")):
        return f"{shown(text)} is a formula, which is never worked out"
    if re.fullmatch(r"[-+]?[\d.,' ]+", bare) and other in bare:
        sign = "point" if decimal == "." else "comma"
        return f"{shown(text)} has {other!r} in it, and the decimal sign here is a {sign}"
    return f"{shown(text)} is no number"
