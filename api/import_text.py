"""How a file is understood and what became of it, as the text of a terminal. Must not do: ask or keep anything."""

from __future__ import annotations

import shlex
from collections.abc import Iterator, Sequence

from api.domain.errors import InputError
from api.domain.import_job import ImportJob
from api.intake.understood import Question
from api.services.import_look import Understood
from api.services.import_words import ending, outcome

WIDEST = 28
MOST_CELLS = 8
FEW = 6
"""So many choices stand below each other; more are one list."""


def reading_of(name: str, seen: Understood, answers: dict[str, str]) -> Iterator[str]:
    """The file as understood, then what is asked with the option that answers it."""
    yield f"{name}"
    columns = ((one.name, one.became, one.unit, ", ".join(one.examples)) for one in seen.look.columns)
    yield from _table([("column", "became", "unit", "such as"), *columns])
    yield ""
    yield "first rows as understood:"
    yield from preview(seen)
    for note in seen.look.notes:
        yield f"  note: {note}"
    for probe, tank in seen.tanks.items():
        yield f"  probe {probe} is new to the room: tank {tank}"
    for key, value in answers.items():
        yield f"  answered: {key} = {value}"
    for one in seen.questions:
        if not one.must:
            yield from otherwise(one)
    for one in seen.questions:
        if one.must:
            yield ""
            yield from asked(one)


def preview(seen: Understood) -> Iterator[str]:
    """The first rows."""
    for row in seen.look.preview:
        said = [f"{probe}/{quantity} {value:.10g} {unit}" for probe, quantity, value, unit in row.values]
        refused = f"  not taken: {row.refused}" if row.refused else ""
        yield f"  line {row.line}: {row.time}  {', '.join(said)}{refused}"


def asked(one: Question) -> Iterator[str]:
    """One question with its choices and the option that answers it."""
    yield f"? {one.text}" + (f" ({one.why})" if one.why else "")
    if len(one.choices) > FEW:
        values = (value if words == value else f"{value} ({words})" for value, words in one.choices)
        yield f"    {option(one.key, 'VALUE')}"
        yield f"      VALUE: {', '.join(values)}"
    else:
        for value, words in one.choices:
            yield f"    {option(one.key, value)}   {words}"
    if not one.choices:
        yield f"    {option(one.key, one.suggestion or 'VALUE')}"
    elif one.suggestion:
        yield f"    (suggested: {one.suggestion})"


def otherwise(one: Question) -> Iterator[str]:
    """What was taken as it seems, and the option that takes it otherwise."""
    values = ", ".join(value for value, _ in one.choices) or "VALUE"
    yield f"  {one.text} Taken as {one.suggestion}; otherwise {option(one.key, 'VALUE')}"
    if one.choices:
        yield f"      VALUE: {values}"


def option(key: str, value: str) -> str:
    """The option that gives an answer, as a shell takes it."""
    return f"--answer {shlex.quote(f'{key}={value}')}"


def answers_of(given: Sequence[str]) -> dict[str, str]:
    """What was answered on the command line.

    Raises InputError for what is no KEY=VALUE.
    """
    out = {}
    for text in given:
        key, sign, value = text.partition("=")
        if not sign or not key.strip():
            raise InputError(f"--answer {text[:80]!r}: write it as KEY=VALUE, as the question shows it")
        out[key.strip()] = value.strip()
    return out


def told(job: ImportJob, name: str) -> Iterator[str]:
    """What became of a file."""
    yield f"{name}: {ending(job)}"
    for line in outcome(job):
        yield f"  {line}"
    if job.report_bytes:
        yield f"  what was not taken, line by line: {job.report}"


def _table(rows: list[tuple[str, ...]]) -> Iterator[str]:
    short = [tuple(cell if len(cell) <= WIDEST else f"{cell[: WIDEST - 1]}…" for cell in row) for row in rows]
    widths = [max(len(row[place]) for row in short) for place in range(len(short[0]))]
    for row in short:
        yield "  " + "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
