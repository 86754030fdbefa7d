"""Rows of cells to readings by a recipe: one pass over each column, then parted by probe, quantity and unit.

Must not do: drop a cell that says something without a ``RefusedRow``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from api.domain.quantity import Quantity
from api.domain.reading import PROBE_ID
from api.intake.block import RefusedRow, Series
from api.intake.label_words import EXACT_NAMES, Role
from api.intake.labels import read_unit
from api.intake.numbers import Numbers, read_numbers
from api.intake.recipe import ColumnRule, Recipe
from api.intake.text_cells import MOST_TEXT, Cells

APART = "\x1f"
NO_UNIT = "the cell names no unit, and the column has none"


@dataclass(slots=True)
class Sheaf:
    """Readings of some rows while they are gathered."""

    lines: NDArray[np.int64]
    time_ms: NDArray[np.int64]
    series: list[Series]
    refused: list[RefusedRow]

    def add(
        self, probe: str, quantity: Quantity, unit: str, rows: NDArray[np.int64], values: NDArray[np.float64]
    ) -> None:
        """Take the rows of one probe, quantity and unit, in the order of the file."""
        if 0 < len(rows) == len(self.lines):  # all of them, in order
            self.series.append(Series(probe, quantity, unit, self.lines, self.time_ms, values))
        elif len(rows):
            self.series.append(Series(probe, quantity, unit, self.lines[rows], self.time_ms[rows], values[rows]))

    def refuse(self, row: int, column: str, text: str, reason: str) -> None:
        """Refuse one cell."""
        self.refused.append(RefusedRow(int(self.lines[row]), column, text[:MOST_TEXT], reason))


def streams(frame: pl.DataFrame, places: Mapping[str, int], recipe: Recipe) -> pl.Series | None:
    """Which rows belong together: by probe and, in a long table, by quantity; None where all do."""
    names = [one for role in (Role.PROBE, Role.QUANTITY) if (one := recipe.of(role)) is not None]
    if not names:
        return None
    parts = [frame.to_series(places[one.name]).cast(pl.String).fill_null("") for one in names]
    return parts[0] if len(parts) == 1 else parts[0] + APART + parts[1]


def gather(
    cells: Cells, places: Mapping[str, int], recipe: Recipe, time_ms: NDArray[np.int64], bad: Mapping[int, str]
) -> Sheaf:
    """All readings of some rows whose times are known; ``bad`` says why a row has no time."""
    sheaf = Sheaf(cells.lines, time_ms, [], list(cells.refused))
    good = np.ones(len(time_ms), np.bool_)
    if bad:
        good[list(bad)] = False
        _refuse_times(sheaf, cells, places, recipe, bad)
    derived = recipe.of(Role.DERIVED)
    if derived is not None:
        good &= ~(cells.frame.to_series(places[derived.name]).cast(pl.String) == "true").fill_null(False).to_numpy()
    if recipe.long:
        _long(sheaf, cells, places, recipe, good)
    else:
        _wide(sheaf, cells, places, recipe, good)
    return sheaf


def _refuse_times(
    sheaf: Sheaf, cells: Cells, places: Mapping[str, int], recipe: Recipe, bad: Mapping[int, str]
) -> None:
    """Rows without a time, but for those with nothing in them."""
    names = [one.name for role in (Role.TIME, Role.DATE, Role.CLOCK) if (one := recipe.of(role)) is not None]
    told = [cells.frame.to_series(places[name]) for name in names]
    header = tuple(names)
    for row, why in sorted(bad.items()):
        texts = tuple("" if column[row] is None else str(column[row]) for column in told)
        if not any(texts) and all(cell is None or not str(cell).strip() for cell in cells.frame.row(row)):
            continue
        why = "it is the header again" if texts == header else why
        sheaf.refuse(row, names[0] if len(names) == 1 else " and ".join(names), " ".join(texts), why)


def _wide(sheaf: Sheaf, cells: Cells, places: Mapping[str, int], recipe: Recipe, good: NDArray[np.bool_]) -> None:
    """Each reading column by itself, for each probe that a column of names tells."""
    named = recipe.of(Role.PROBE)
    groups = _groups(cells.frame.to_series(places[named.name])) if named is not None else None
    probes = _probes(sheaf, groups, named, recipe, good) if groups is not None and named is not None else {}
    for rule in recipe.readings:
        column = cells.frame.to_series(places[rule.name])
        numbers = read_numbers(column, recipe.decimal, recipe.grouped)
        take = good & np.isfinite(numbers.values)
        _refuse_cells(sheaf, column, rule.name, numbers, good)
        for unit, with_unit in _by_unit(sheaf, column, rule, numbers, take):
            if groups is None:
                sheaf.add(rule.probe or recipe.probe, Quantity(rule.quantity), unit, np.flatnonzero(with_unit),
                          numbers.values)  # fmt: skip
                continue
            for text, rows in groups.items():
                if probes[text]:
                    probe = f"{probes[text]}-{rule.probe}" if rule.probe else probes[text]
                    sheaf.add(probe, Quantity(rule.quantity), unit, rows[with_unit[rows]], numbers.values)


def _by_unit(
    sheaf: Sheaf, column: pl.Series, rule: ColumnRule, numbers: Numbers, take: NDArray[np.bool_]
) -> list[tuple[str, NDArray[np.bool_]]]:
    """Which rows are in which unit: the column's, or the one that stands in the cell."""
    if not numbers.units and rule.unit:
        return [(rule.unit, take)]
    quantity = Quantity(rule.quantity)
    own: dict[str, NDArray[np.bool_]] = {}
    plain = take.copy()
    for row, text in numbers.units.items():
        plain[row] = False
        if not take[row]:
            continue
        unit, why = read_unit(quantity, text)
        if unit:
            own.setdefault(unit, np.zeros(len(take), np.bool_))[row] = True
        else:
            sheaf.refuse(row, rule.name, str(column[row]), f"{text!r} is no unit for {quantity}{why and ': ' + why}")
    if rule.unit:
        own[rule.unit] = own.get(rule.unit, np.zeros(len(take), np.bool_)) | plain
    else:
        for row in np.flatnonzero(plain).tolist():
            sheaf.refuse(row, rule.name, str(column[row]), NO_UNIT)
    return list(own.items())


def _refuse_cells(sheaf: Sheaf, column: pl.Series, name: str, numbers: Numbers, good: NDArray[np.bool_]) -> None:
    for row, why in numbers.bad.items():
        if good[row]:
            sheaf.refuse(row, name, str(column[row]), why)


def _groups(texts: pl.Series) -> dict[str, NDArray[np.int64]]:
    """The rows of each different text, in order."""
    texts = texts.cast(pl.String).fill_null("").rename("text")
    unique = texts.unique(maintain_order=True)
    if len(unique) == 1:
        return {unique[0]: np.arange(len(texts), dtype=np.int64)}
    codes = texts.replace_strict(unique, pl.Series(range(len(unique))), return_dtype=pl.Int64).to_numpy()
    order = np.argsort(codes, kind="stable")
    edges = np.searchsorted(codes[order], np.arange(len(unique) + 1))
    return {text: order[edges[at] : edges[at + 1]] for at, text in enumerate(unique.to_list())}


def _probes(
    sheaf: Sheaf, groups: Mapping[str, NDArray[np.int64]], rule: ColumnRule, recipe: Recipe, good: NDArray[np.bool_]
) -> dict[str, str]:
    """The probe each text names; rows whose text names none are refused."""
    found = {text: probe_of(text, recipe) for text in groups}
    for text, rows in groups.items():
        if not found[text]:
            why = f"no probe is told for {text[:60]!r}" if text.strip() else "no probe is named"
            for row in rows[good[rows]].tolist():
                sheaf.refuse(row, rule.name, text, why)
    return found


def probe_of(text: str, recipe: Recipe) -> str:
    """The probe a text of the file means: told, or the text itself where it can be an id; empty for none."""
    bare = text.strip().removeprefix("'").strip()
    if bare in recipe.probes:
        return recipe.probes[bare]
    return bare if PROBE_ID.match(bare) else ""


def _long(sheaf: Sheaf, cells: Cells, places: Mapping[str, int], recipe: Recipe, good: NDArray[np.bool_]) -> None:
    """Rows that say probe, quantity and unit themselves."""
    value = recipe.the(Role.VALUE)
    column = cells.frame.to_series(places[value.name])
    numbers = read_numbers(column, recipe.decimal, recipe.grouped)
    _refuse_cells(sheaf, column, value.name, numbers, good)
    take = good & np.isfinite(numbers.values)
    rules = [recipe.of(role) for role in (Role.PROBE, Role.QUANTITY, Role.UNIT)]
    texts = [_texts(cells.frame, places, rule, numbers) for rule in rules]
    for text, rows in _groups(texts[0] + APART + texts[1] + APART + texts[2]).items():
        chosen = rows[take[rows]]
        if not len(chosen):
            continue
        told = [one.strip().removeprefix("'").strip() for one in text.split(APART)]
        probe, quantity, unit, refusal = _meant(told, recipe)
        if quantity is None:
            names = [rule.name if rule is not None else value.name for rule in rules]
            for row in chosen.tolist():
                sheaf.refuse(row, names[refusal[0]], told[refusal[0]], refusal[1])
            continue
        sheaf.add(probe, quantity, unit, chosen, numbers.values)


def _texts(frame: pl.DataFrame, places: Mapping[str, int], rule: ColumnRule | None, numbers: Numbers) -> pl.Series:
    """A column's texts; for the unit, the one in the cell of the value where it stands there."""
    if rule is None:
        texts = pl.Series("text", [""]).new_from_index(0, frame.height)
    else:
        texts = frame.to_series(places[rule.name]).cast(pl.String).fill_null("").rename("text")
    if numbers.units and (rule is None or rule.role is Role.UNIT):
        listed = texts.to_list()
        for row, unit in numbers.units.items():
            listed[row] = listed[row] or unit
        texts = pl.Series("text", listed, pl.String)
    return texts


def _meant(told: Sequence[str], recipe: Recipe) -> tuple[str, Quantity | None, str, tuple[int, str]]:
    """Probe, quantity and unit that three texts mean; quantity None where one (0, 1, 2) is refused, and why."""
    probe = probe_of(told[0], recipe) if told[0] else recipe.probe
    if not probe:
        return "", None, "", (0, f"no probe is told for {told[0][:60]!r}" if told[0] else "no probe is named")
    word = told[1] or recipe.quantity
    name = recipe.quantities.get(word) or EXACT_NAMES.get(word.casefold(), "")
    if not name or name == "skip":
        return "", None, "", (1, f"{word[:40]!r} is none of our quantities, and none was told for it")
    quantity = Quantity(name)
    unit = told[2] or recipe.units.get(word, "") or recipe.units.get(name, "")
    if not unit:
        return "", None, "", (2, f"no unit is named for {quantity}, and none was told")
    code, why = read_unit(quantity, unit)
    if not code:
        return "", None, "", (2, f"unit {unit[:40]!r} is not one for {quantity}{why and ': ' + why}")
    return probe, quantity, unit if len(unit) <= 32 else code, (0, "")
