"""Animals and events as CSV: read row by row, each bad row told with its line; written so that no cell can run.

Must not do: keep anything (``animal_import.py`` does), or guess a unit or an order of day and month.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from math import isfinite
from zoneinfo import ZoneInfo

from api.domain.animal import Animal, Limb, LimbState, Sex
from api.domain.errors import InputError
from api.domain.life import Life
from api.services.animals import Newcomer
from api.services.entries import Entry

COLUMNS = (
    ("name", "name or tag; the only column every row needs"),
    ("species", "scientific name"),
    ("sex", "female, male or unknown"),
    ("sex_how", "how the sex was told"),
    ("origin", "where it comes from"),
    ("hatched", "day, such as 2026-03-01"),
    ("arrived", "day"),
    ("tank", "id of the tank it is in"),
    ("carapace_mm", "carapace length in mm"),
    ("mass_g", "mass in g"),
    ("measured", "day of length and mass"),
    ("weighed", "day of the mass, if another"),
    ("last_molt", "day of its last known molt"),
    ("lost_limbs", "such as left_chela right_leg_3"),
    ("regrowing_limbs", "the same"),
    ("note", "anything else"),
)
NAMES = tuple(name for name, _ in COLUMNS)
EVENT_COLUMNS = (
    "id", "time", "since", "tank", "animal", "animal_name", "kind", "signs", "limb", "carapace_mm", "mass_g", "tested",
    "percent", "what", "note", "entered", "entered_by", "replaces", "replaced_by", "withdrawn", "withdrawn_by",
)  # fmt: skip
MOST_CHARACTERS, MOST_ROWS = 5_000_000, 20_000
RUNS = ("=", "+", "-", "@", "\t", "\r")
"""A spreadsheet takes a cell that begins so for a formula."""


@dataclass(frozen=True, slots=True)
class Fault:
    """A row that was not taken, and why."""

    line: int
    reason: str


@dataclass(frozen=True, slots=True)
class Row:
    """A row that can be used; ``given`` names the columns it fills."""

    line: int
    newcomer: Newcomer
    given: frozenset[str]


@dataclass(frozen=True, slots=True)
class Sheet:
    """A file read. ``unused`` are columns nobody knows."""

    rows: tuple[Row, ...]
    faults: tuple[Fault, ...]
    unused: tuple[str, ...]


def read_animals(text: str, zone: str) -> Sheet:
    """The animals of a CSV file: comma, semicolon or tab; columns in any order.

    Raises InputError when it is no such file at all.
    """
    if len(text) > MOST_CHARACTERS:
        raise InputError(f"this file is too large; split it into files of at most {MOST_CHARACTERS // 1_000_000} MB")
    if not text.isascii() and any("\ud800" <= letter <= "\udfff" for letter in text):
        raise InputError("this file holds half a character; save it from the spreadsheet as 'CSV UTF-8'")
    text = text.removeprefix("\ufeff")
    head = next((line for line in text.splitlines() if line.strip()), "")
    delimiter = max(",;\t", key=head.count)
    lines = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    rows: list[Row] = []
    faults: list[Fault] = []
    header: list[str] = []
    line = 1
    try:
        for cells in lines:
            at, line = line, lines.line_num + 1
            if not any(cell.strip() for cell in cells):
                continue
            if not header:
                header = _header(cells)
                continue
            if len(rows) + len(faults) >= MOST_ROWS:
                raise InputError(f"more than {MOST_ROWS} rows; split the file")
            _one(cells, header, at, zone, rows, faults)
    except csv.Error as error:
        faults.append(Fault(line, f"the file cannot be read from here on: {error}"))
    if not header:
        raise InputError("this file is empty; its first line names the columns, at least: name")
    return Sheet(tuple(rows), tuple(faults), tuple(name for name in header if name and name not in NAMES))


def _header(cells: Sequence[str]) -> list[str]:
    header = ["_".join(cell.strip().lower().split()) for cell in cells]
    if "name" not in header:
        raise InputError(f"the first line names the columns and has no column 'name'; known: {', '.join(NAMES)}")
    twice = {name for name in header if name in NAMES and header.count(name) > 1}
    if twice:
        raise InputError(f"column {sorted(twice)[0]!r} stands twice in the first line; remove one")
    return header


def _one(
    cells: Sequence[str], header: Sequence[str], line: int, zone: str, rows: list[Row], faults: list[Fault]
) -> None:
    if len(cells) > len(header) and any(cell.strip() for cell in cells[len(header) :]):
        faults.append(
            Fault(line, f"{len(cells)} cells under {len(header)} columns; is a comma inside a text unquoted?")
        )
        return
    given = {name: _plain(cell) for name, cell in zip(header, cells, strict=False) if name in NAMES and cell.strip()}
    try:
        rows.append(Row(line, _newcomer(given, zone), frozenset(given)))
    except InputError as error:
        faults.append(Fault(line, str(error)))


def _newcomer(given: Mapping[str, str], zone: str) -> Newcomer:
    sex = given.get("sex", "unknown").lower()
    full = {"f": "female", "m": "male", "u": "unknown", "?": "unknown"}.get(sex, sex)
    if full not in set(Sex):
        raise InputError(f"sex {sex[:40]!r} is not female, male or unknown")
    limbs = {limb: LimbState.LOST for limb in _limbs(given.get("lost_limbs", ""), "lost_limbs")}
    limbs |= {limb: LimbState.REGROWING for limb in _limbs(given.get("regrowing_limbs", ""), "regrowing_limbs")}
    return Newcomer(
        animal=Animal(
            name=" ".join(given.get("name", "").split()),
            species=given.get("species", ""),
            sex=Sex(full),
            sex_how=given.get("sex_how", ""),
            origin=given.get("origin", ""),
            hatched=_day(given, "hatched", zone),
            arrived=_day(given, "arrived", zone),
            note=given.get("note", ""),
        ),
        tank=given.get("tank"),
        carapace_mm=_number(given, "carapace_mm"),
        mass_g=_number(given, "mass_g"),
        measured=_day(given, "measured", zone),
        last_molt=_day(given, "last_molt", zone),
        limbs=limbs,
        weighed=_day(given, "weighed", zone),
    )


def _limbs(text: str, column: str) -> Iterator[Limb]:
    for word in text.replace(",", " ").replace(";", " ").split():
        try:
            yield Limb(word.lower())
        except ValueError as error:
            raise InputError(f"{column}: {word[:40]!r} is no limb; use {', '.join(Limb)}") from error


def _day(given: Mapping[str, str], column: str, zone: str) -> date | None:
    text = given.get(column)
    if text is None:
        return None
    try:
        if len(text) == 10:
            return date.fromisoformat(text)
        moment = datetime.fromisoformat(text)
    except ValueError as error:
        raise InputError(f"{column}: {text[:40]!r} is not a day such as 2026-03-01") from error
    return moment.date() if moment.tzinfo is None else moment.astimezone(ZoneInfo(zone)).date()


def _number(given: Mapping[str, str], column: str) -> float | None:
    text = given.get(column)
    if text is None:
        return None
    try:
        value = float(text.replace(",", "."))
    except ValueError as error:
        raise InputError(f"{column}: {text[:40]!r} is not a number such as 31.5, without its unit") from error
    if not isfinite(value):
        raise InputError(f"{column}: {text[:40]!r} is not a finite number")
    return value


def write_animals(lives: Iterable[Life], zone: str) -> str:
    """All animals as CSV; what is written can be read in again and changes nothing."""
    place = ZoneInfo(zone)

    def day(time_ms: int | None) -> str:
        return "" if time_ms is None else f"{datetime.fromtimestamp(time_ms / 1000, UTC).astimezone(place):%Y-%m-%d}"

    rows = []
    for life in lives:
        animal, length, mass = life.animal, life.measured, life.weighed
        measured, weighed = (day(size.time_ms if size else None) for size in (length or mass, mass))
        states = {state: " ".join(limb for limb, now in life.marks if now is state) for state in LimbState}
        rows.append((
            animal.name, animal.species, animal.sex, animal.sex_how, animal.origin, animal.hatched, animal.arrived,
            life.tank, length.carapace_mm if length else None, mass.mass_g if mass else None,
            measured, weighed if weighed != measured else "", day(life.last_molt.time_ms if life.last_molt else None),
            states[LimbState.LOST], states[LimbState.REGROWING], animal.note,
        ))  # fmt: skip
    return written(NAMES, rows)


def write_events(entries: Iterable[Entry], names: Mapping[int, str]) -> str:
    """Events as CSV, withdrawn and replaced ones too."""

    def told(time_ms: int | None) -> str:
        return "" if time_ms is None else datetime.fromtimestamp(time_ms / 1000, UTC).isoformat(timespec="seconds")

    rows = []
    for entry in entries:
        one = entry.event
        tested = "; ".join(f"{test.quantity} {test.value:g} (read {test.said:g} {test.unit})" for test in one.tested)
        rows.append((
            entry.id, told(one.time_ms), told(one.since_ms), one.tank, one.animal,
            names.get(one.animal, "") if one.animal is not None else "", one.kind, " ".join(one.signs), one.limb,
            one.carapace_mm, one.mass_g, tested, one.percent, one.what, one.note, told(entry.entered_ms),
            entry.entered_by, entry.replaces, entry.replaced_by, told(entry.withdrawn_ms), entry.withdrawn_by,
        ))  # fmt: skip
    return written(EVENT_COLUMNS, rows)


def written(header: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """CSV of which no spreadsheet runs a cell."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(header)
    for row in rows:
        writer.writerow([_safe(cell) for cell in row])
    return out.getvalue()


def _safe(cell: object) -> str:
    """A cell that no spreadsheet runs; ``_plain`` takes the mark away again."""
    text = "" if cell is None else f"{cell:g}" if isinstance(cell, float) else str(cell)
    return f"'{text}" if text.startswith((*RUNS, "'")) else text


def _plain(cell: str) -> str:
    text = cell.strip(" ")
    return text[1:] if text.startswith("'") and text[1:].startswith((*RUNS, "'")) else text
