"""What a message says, in one of three forms: a bare number, a JSON document, a SenML pack (RFC 8428).

Pure. Must not do: invent a time for a message that carries none, or take anything but a number for a number.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Protocol

from api.domain.errors import InputError
from api.domain.quantity import Quantity
from api.domain.senml import Refused, decode
from collector.codecs.json_pointer import found, written
from collector.codecs.numbers import number
from collector.codecs.times import time_ms

SHIFT_MS = 86_400_000


@dataclass(frozen=True, slots=True)
class Item:
    """One value. ``time_ms`` None: it says no time, but is ``before_ms`` older than the message that carries it."""

    quantity: Quantity
    unit: str
    value: float
    time_ms: int | None = None
    before_ms: int = 0


@dataclass(frozen=True, slots=True)
class Said:
    """What a message said; ``problems`` are reasons in plain words."""

    items: tuple[Item, ...] = ()
    problems: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Place:
    """Where a value stands: at a pointer's steps in JSON; nowhere in particular in the other forms."""

    quantity: Quantity
    unit: str
    steps: tuple[str, ...] = ()


class Form(Protocol):
    """How messages are written."""

    def read(self, payload: bytes, places: Sequence[Place]) -> Said:
        """What the message says of these values; never raises."""


@dataclass(frozen=True, slots=True)
class NumberForm:
    """One number and nothing else, with spaces around it or not."""

    decimal: str = "."

    def read(self, payload: bytes, places: Sequence[Place]) -> Said:
        """The number."""
        try:
            value = number(payload.decode("utf-8"), self.decimal)
        except UnicodeDecodeError:
            return Said(problems=("is no text (UTF-8)",))
        except ValueError as error:
            return Said(problems=(str(error),))
        return Said(tuple(Item(place.quantity, place.unit, value) for place in places))


@dataclass(frozen=True, slots=True)
class JsonForm:
    """A JSON document with each value at its own place, and perhaps one time for all of them."""

    decimal: str = "."
    time_steps: tuple[str, ...] | None = None
    time_format: str = "rfc3339"

    def read(self, payload: bytes, places: Sequence[Place]) -> Said:
        """The values that are there; none at all when there is no time where one should be."""
        try:
            document = json_document(payload)
            stamp = None if self.time_steps is None else self._time(found(document, self.time_steps))
        except ValueError as error:
            return Said(problems=(str(error),))
        items, problems = [], []
        for place in places:
            try:
                value = json_number(found(document, place.steps), self.decimal)
                items.append(Item(place.quantity, place.unit, value, stamp))
            except ValueError as error:
                problems.append(f"{place.quantity} at {written(place.steps)!r}: {error}")
        return Said(tuple(items), tuple(problems))

    def _time(self, node: Any) -> int:
        if isinstance(node, bool) or not isinstance(node, str | int | float):
            raise ValueError(f"time is {kind(node)}, not a text or a number")
        return time_ms(node if isinstance(node, str) else repr(node), self.time_format)


@dataclass(frozen=True, slots=True)
class SenmlForm:
    """A SenML pack whose records are named ``<probe id>/<quantity>`` and carry their own units."""

    probe: str

    def read(self, payload: bytes, places: Sequence[Place]) -> Said:
        """The records of this probe; a time relative to now is known by moving when now does."""
        try:
            first, second = decode(payload, SHIFT_MS * 4000), decode(payload, SHIFT_MS * 4001)
        except InputError as error:
            return Said(problems=(str(error),))
        wanted = {place.quantity for place in places}
        items: list[Item] = []
        problems: list[str] = []
        for index, (one, other) in enumerate(zip(first, second, strict=True)):
            if one is None or other is None:
                continue
            if isinstance(one, Refused) or isinstance(other, Refused):
                reason = one.reason if isinstance(one, Refused) else "has no time that holds"
                problems.append(f"record {index}: {reason}")
            elif one.probe != self.probe:
                problems.append(f"record {index}: is of probe {one.probe!r}, this is {self.probe!r}")
            elif one.quantity not in wanted:
                problems.append(f"record {index}: {one.quantity} is no value of this probe")
            elif one.time_ms == other.time_ms:
                items.append(Item(one.quantity, one.unit, one.value, one.time_ms))
            else:
                before_ms = SHIFT_MS * 4000 - one.time_ms
                items.append(Item(one.quantity, one.unit, one.value, None, before_ms))
        return Said(tuple(items), tuple(problems))


def json_document(payload: bytes) -> Any:
    """The JSON document in UTF-8 that fills all of ``payload``, strictly as RFC 8259 has it, no name twice.

    Raises ValueError in plain words.
    """
    try:
        return json.loads(payload.decode("utf-8"), parse_constant=_no_constant, object_pairs_hook=_once)
    except UnicodeDecodeError as error:
        raise ValueError("is no text (UTF-8)") from error
    except RecursionError as error:
        raise ValueError("is nested too deeply") from error
    except json.JSONDecodeError as error:
        raise ValueError(f"is no JSON: {error.msg} at letter {error.pos + 1}") from error


def _no_constant(name: str) -> Any:
    raise ValueError(f"{name} is no JSON")


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError("a name stands twice in one object")
    return found


def json_number(node: Any, decimal: str = ".") -> float:
    """The number a JSON value is, or holds as text.

    Raises ValueError in plain words.
    """
    if isinstance(node, str):
        return number(node, decimal)
    if isinstance(node, bool) or not isinstance(node, int | float):
        raise ValueError(f"is {kind(node)}, not a number")
    try:
        value = float(node)
    except OverflowError:
        value = float("inf")
    if abs(value) == float("inf"):
        raise ValueError("is too large a number")
    return value


def kind(node: Any) -> str:
    """What a JSON value is, in words."""
    if node is None or isinstance(node, bool):
        return json.dumps(node)
    return "an object" if isinstance(node, dict) else "a list" if isinstance(node, list) else "no number"
