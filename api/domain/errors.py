"""What can go wrong, as words a keeper can act on.

    IntermoltError
    ├── InputError            a person or a file gave us something we cannot use (exit code 2, HTTP 400/422)
    │   ├── RoomFileError     room.toml: file, line, table, key
    │   ├── UnknownUnit       a unit nobody declared, with the ones that would do
    │   │   └── UnclearUnit   a unit that could mean several things, or means another quantity
    │   └── NotFound          a tank, probe or alert that is not there
    ├── OutOfRange            a value outside the range a published formula covers
    ├── Transient             try the same thing again later (busy disk, dead network)
    └── Permanent             trying again will not help until a person changes something

Must not do: format for a particular screen, log, or hide a cause.
"""

from __future__ import annotations


class IntermoltError(Exception):
    """Root of every error this program raises on purpose."""


class InputError(IntermoltError):
    """Something given to us cannot be used; the text says what, where and what to do."""


class RoomFileError(InputError):
    """A line of ``room.toml`` that cannot be used."""

    def __init__(self, file: str, line: int | None, what: str, todo: str = "") -> None:
        self.file, self.line, self.what, self.todo = file, line, what, todo
        where = file if line is None else f"{file}, line {line}"
        super().__init__(f"{where}: {what}" + (f" {todo}" if todo else ""))


class UnknownUnit(InputError):
    """A unit label that is not one of those the quantity can be given in."""

    def __init__(self, unit: str, quantity: str, choices: tuple[str, ...]) -> None:
        self.unit, self.quantity, self.choices = unit, quantity, choices
        super().__init__(f"unit {unit!r} is not one for {quantity}; use one of: {', '.join(choices)}")


class UnclearUnit(UnknownUnit):
    """A unit label that could mean several things, or that belongs to another quantity: told, never guessed."""

    def __init__(self, unit: str, quantity: str, why: str, todo: str, choices: tuple[str, ...] = ()) -> None:
        super().__init__(unit, quantity, choices)
        self.why, self.todo = why, todo
        self.args = (f"unit {unit!r} is not taken for {quantity}: {why}; {todo}",)


class NotFound(InputError):
    """No record by that name."""


class OutOfRange(IntermoltError):
    """A value outside the range a formula's source covers."""

    def __init__(self, name: str, value: float, low: float, high: float, unit: str) -> None:
        self.name, self.value, self.low, self.high, self.unit = name, value, low, high, unit
        super().__init__(f"{name} {value:g} {unit} is outside {low:g} to {high:g} {unit}")


class Transient(IntermoltError):
    """Worth the same try again later."""


class Permanent(IntermoltError):
    """Not worth another try until a person changes something."""
