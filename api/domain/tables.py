"""Reading one table of a TOML file strictly: known keys only, right types, in range, with the line of what is wrong.

Pure: text in, values out. Used for ``room.toml`` by the service and, for a driver's own keys, by the collector.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import inf, isfinite
from typing import Any

from api.domain.errors import RoomFileError


@dataclass(frozen=True, slots=True)
class Key:
    """What one key of a table may be. ``kind`` is a type; bool is never taken for a number."""

    name: str
    kind: type
    default: Any = None
    required: bool = False
    low: float | None = None
    high: float | None = None
    choices: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Place:
    """Which table of which file is being read, so that messages can name the line."""

    file: str
    text: str
    table: str
    index: int = 0

    def line(self, key: str | None = None) -> int | None:
        """Line of a key in this table, or of the table's header; None when it cannot be found."""
        start = None
        seen = -1
        lines = self.text.splitlines()
        header = re.compile(r"\s*\[\[?\s*" + re.escape(self.table) + r"\s*\]\]?\s*(#.*)?\Z")
        for number, text in enumerate(lines, 1):
            if header.match(text):
                seen += 1
                if seen == self.index:
                    start = number
                    break
        if start is None or key is None:
            return start
        for number, text in enumerate(lines[start:], start + 1):
            if re.match(r"\s*\[", text):
                break
            if re.match(r"""\s*["']?""" + re.escape(key) + r"""["']?\s*[=.]""", text):
                return number
        return start

    def wrong(self, what: str, todo: str = "", key: str | None = None) -> RoomFileError:
        """An error that names this table and the line of ``key``."""
        return RoomFileError(self.file, self.line(key), f"[{self.table}] {what}", todo)


def take(table: Mapping[str, Any], keys: Sequence[Key], place: Place, *, rest: bool = False) -> dict[str, Any]:
    """The table's values by key, defaults filled in. With ``rest``, keys not listed are left for another reader.

    Raises RoomFileError naming file, line, table and key.
    """
    known = {key.name: key for key in keys}
    if not rest:
        for name in table:
            if name not in known:
                raise unknown(name, tuple(known), place)
    return {key.name: _one(table, key, place) for key in keys}


def unknown(name: str, known: tuple[str, ...], place: Place) -> RoomFileError:
    """An error for a key nobody reads, with the nearest one that exists."""
    near = difflib.get_close_matches(name, known, n=1, cutoff=0.6)
    todo = f"Did you mean {near[0]!r}?" if near else f"Known keys: {', '.join(sorted(known))}."
    return place.wrong(f"key {name!r} is not known.", todo, name)


def _one(table: Mapping[str, Any], key: Key, place: Place) -> Any:
    if key.name not in table:
        if key.required:
            raise place.wrong(f"key {key.name!r} is missing.", f"Add a line: {key.name} = ...")
        return key.default
    value = table[key.name]
    if key.kind is float and isinstance(value, int) and not isinstance(value, bool):
        value = float(value) if abs(value) < 10**300 else inf
    if not isinstance(value, key.kind) or (isinstance(value, bool) and key.kind is not bool):
        raise place.wrong(f"{key.name} = {value!r} should be {_kind_name(key.kind)}.", key=key.name)
    if isinstance(value, int | float) and not isinstance(value, bool):
        if isinstance(value, float) and not isfinite(value):
            raise place.wrong(f"{key.name} = {value} is not a finite number.", key=key.name)
        if not (key.low is None or value >= key.low) or not (key.high is None or value <= key.high):
            raise place.wrong(f"{key.name} = {str(value)[:40]} is outside {_span(key)}.", key=key.name)
    if key.choices and value not in key.choices:
        near = difflib.get_close_matches(str(value), key.choices, n=1, cutoff=0.5)
        hint = f"Did you mean {near[0]!r}?" if near else f"Choose from: {', '.join(key.choices)}."
        raise place.wrong(f"{key.name} = {value!r} is not known.", hint, key.name)
    return value


def _span(key: Key) -> str:
    if key.low is None:
        return f"at most {key.high:g}"
    if key.high is None:
        return f"{key.low:g} or more"
    return f"{key.low:g} to {key.high:g}"


def _kind_name(kind: type) -> str:
    return {str: "text in quotes", int: "a whole number", float: "a number", bool: "true or false", list: "a list"}.get(
        kind, "a table"
    )
