"""One line of text to values, or to the reason in plain words why it has none.

Pure. Must not do: convert units, or guess a value that is not written there.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

from api.domain.quantity import Quantity
from api.domain.tank import Value
from collector.codecs.numbers import number
from collector.codecs.times import time_ms


@dataclass(frozen=True, slots=True)
class Decoded:
    """What a line said. ``time_ms`` is None when it carries no time; ``problems`` are reasons in plain words."""

    values: tuple[tuple[Quantity, str, float], ...]
    time_ms: int | None
    problems: tuple[str, ...]


@dataclass(frozen=True)
class FieldLayout:
    """Where in a line each value stands: by ``field`` (from 1), by ``key`` (``T=24.31``), or by a named group."""

    values: Sequence[Value]
    separator: str = ","
    decimal: str = "."
    pattern: re.Pattern[str] | None = None
    fields: int | None = None
    time_field: int | None = None
    time_key: str | None = None
    time_format: str = "rfc3339"
    match_key: str | None = None
    _finders: dict[str, re.Pattern[str]] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        keys = [value.key for value in self.values if value.key is not None]
        keys += [key for key in (self.time_key, self.match_key) if key is not None]
        object.__setattr__(self, "_finders", {key: self._finder(key) for key in keys})

    def _finder(self, key: str) -> re.Pattern[str]:
        ends = "".join(sorted({*" \t;|", *self.separator} | ({","} if self.decimal == "." else set())))
        return re.compile(rf"(?<![A-Za-z0-9_]){re.escape(key)}\s*[=:]\s*([^{re.escape(ends)}]*)")

    def split(self, line: str) -> list[str]:
        """The line's fields; a separator of one space stands for any white space."""
        parts = line.split() if self.separator == " " else line.split(self.separator)
        return [part.strip() for part in parts]

    def decode(self, line: str) -> Decoded:
        """Read one whole line; never raises."""
        try:
            cells = self.split(line)
            if self.fields is not None and len(cells) != self.fields:
                raise ValueError(f"has {len(cells)} fields, not {self.fields}")
            groups = self._groups(line)
            stamp = self._time(line, cells, groups)
        except ValueError as error:
            return Decoded((), None, (str(error),))
        values, problems = [], []
        for place, value in enumerate(self.values, 1):
            try:
                text = self._text(value, place, line, cells, groups)
                values.append((value.quantity, value.unit, number(text, self.decimal)))
            except ValueError as error:
                problems.append(f"{value.quantity}: {error}")
        return Decoded(tuple(values), stamp, tuple(problems))

    def _groups(self, line: str) -> dict[str, str | None] | None:
        if self.pattern is None:
            return None
        match = self.pattern.search(line)
        if match is None:
            raise ValueError("does not match the pattern")
        return match.groupdict()

    def _time(self, line: str, cells: list[str], groups: dict[str, str | None] | None) -> int | None:
        if groups is not None and "time" in groups:
            return time_ms(groups["time"] or "", self.time_format)
        if self.time_key is not None:
            return time_ms(self._by_key(self.time_key, line), self.time_format)
        if self.time_field is not None:
            return time_ms(_cell(cells, self.time_field), self.time_format)
        return None

    def _text(self, value: Value, place: int, line: str, cells: list[str], groups: dict[str, str | None] | None) -> str:
        if groups is not None:
            return groups[str(value.quantity)] or ""
        if value.key is not None:
            return self._by_key(value.key, line)
        return _cell(cells, value.field or place)

    def texts_by_key(self, key: str, line: str) -> list[str]:
        """All that stands behind a key; one text in a line that can be believed."""
        return [text.strip() for text in self._finders[key].findall(line)]

    def _by_key(self, key: str, line: str) -> str:
        found = self.texts_by_key(key, line)
        if len(found) != 1:
            raise ValueError(f"{key!r} stands {len(found)} times in the line" if found else f"{key!r} is not there")
        return found[0]


def _cell(cells: list[str], place: int) -> str:
    if place > len(cells):
        raise ValueError(f"field {place} is not there, the line has {len(cells)}")
    return cells[place - 1]
