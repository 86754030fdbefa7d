"""One column's header: its quantity, its unit, and the probe or tank that stands in it.

``Temp (°C)``, ``DO mg/L``, ``Tank 3 - oxygen [mg/l]``, ``temperature_c``. Must not do: guess a unit that is not there,
or call a temperature the water's that says it is another's.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from functools import lru_cache

from api.domain.errors import UnclearUnit, UnknownUnit
from api.domain.quantity import Quantity
from api.intake.label_words import (
    EXACT_NAMES,
    FILLERS,
    NO_READING,
    NOT_WATER,
    QUANTITY_WORDS,
    ROLES,
    RUN_TOGETHER,
    Role,
)
from api.science.units import unit_code

_BRACKETS = re.compile(r"[(\[{<]([^()\[\]{}<>]*(?:\([^()]*\)[^()\[\]{}<>]*)?)[)\]}>]")
_EDGES = " \t-–—_:;,.|/\\'\"@#&+()[]"
_ZONE = re.compile(r"(?:UTC|GMT)\s*[+-−]?\s*(?:\d{1,2}(?::?\d{2})?)?|[+-]\d{2}:\d{2}", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Label:
    """What a header says; empty where it says nothing. ``doubt`` is why a unit that stands there is not taken."""

    role: Role | None = None
    quantity: Quantity | None = None
    unit: str = ""
    doubt: str = ""
    probe: str = ""
    zone: str = ""


def plain(name: str) -> str:
    """A name for comparison: lower case, one space for each gap."""
    return " ".join(name.replace("_", " ").strip(" '\"").casefold().split())


def read_unit(quantity: Quantity, text: str) -> tuple[str, str]:
    """The code of a unit, and why it is not clear; both empty for what is no unit of the quantity."""
    try:
        return unit_code(quantity, text), ""
    except UnclearUnit as error:
        return "", error.why
    except UnknownUnit:
        return "", ""


@lru_cache(maxsize=4096)
def is_unit(text: str) -> bool:
    """Whether some quantity can be given in it."""
    return any(any(read_unit(quantity, text.strip("()[] "))) for quantity in Quantity)


def quantities_of(unit: str) -> tuple[Quantity, ...]:
    """The quantities that can be given in a unit."""
    return tuple(one for one in Quantity if read_unit(one, unit)[0])


@lru_cache(maxsize=4096)
def read(name: str, unit_row: str = "") -> Label:
    """What a column's header says, with the cell of a row of units below it."""
    bare = plain(name)
    role = ROLES.get(bare) or ROLES.get(plain(_BRACKETS.sub(" ", name)).rstrip(" .,:-"))
    if role is None:
        role = ROLES.get(plain(_ZONE.sub(" ", name)).strip(_EDGES))
    if role is not None:
        return Label(role, zone=zone_in(name) or zone_in(unit_row))
    return _reading(name.strip(), unit_row.strip().strip("()[]{}").strip())


def zone_in(name: str) -> str:
    """An offset in a time column's header, such as ``UTC`` or ``GMT-07:00``; empty without one."""
    found = re.search(r"(?<![A-Za-z])(?:UTC|GMT)\s*(?:([-+−])\s*(\d{1,2})(?::?(\d{2}))?)?(?![A-Za-z\d])", name)
    if found is None:
        found = re.search(r"(?<![\d:])([-+])(\d{2}):(\d{2})(?!\d)", name)
    if found is None:
        return ""
    if not found[1]:
        return "" if re.search(r"\b(?:not|local)\b", name, re.IGNORECASE) else "UTC"
    return f"{'+' if found[1] == '+' else '-'}{int(found[2]):02d}:{int(found[3] or 0):02d}"


def _reading(name: str, unit_row: str) -> Label:
    """A header that names a quantity, a unit or a tank."""
    spaced = name.replace("_", " ")
    for quantity, words in QUANTITY_WORDS:
        found = words.search(spaced)
        exact = EXACT_NAMES.get(name.casefold())
        if found is None or (exact and exact is not quantity):
            continue
        if quantity is Quantity.TEMPERATURE and NOT_WATER.search(spaced):
            return Label(doubt="it does not seem to be the water's temperature")
        label = _with_unit(quantity, spaced[: found.start()], spaced[found.end() :], unit_row)
        if NO_READING.search(label.probe):
            return Label(doubt="it is a figure of many readings, and none of them")
        probe = FILLERS.sub(" ", label.probe).strip(_EDGES)
        twice = unit_row and read_unit(quantity, RUN_TOGETHER.get(probe.casefold(), probe))[0] == label.unit != ""
        return replace(label, probe="" if twice else probe)
    for unit, rest in _units_in(spaced, unit_row):
        several = quantities_of(unit)
        if len(several) == 1:
            return Label(Role.READING, several[0], read_unit(several[0], unit)[0], probe=rest)
    return Label(probe=spaced.strip(_EDGES), unit=unit_row)


def _with_unit(quantity: Quantity, before: str, after: str, unit_row: str) -> Label:
    """The unit beside a quantity's word, and what else stands there."""
    tried = [quantity, Quantity.OXYGEN_SATURATION] if quantity is Quantity.OXYGEN else [quantity]
    doubt = ""
    for text, rest in (*_units_in(after, unit_row, bare=True), *_units_in(before, "")):
        for one in tried:
            unit, why = read_unit(one, text)
            if unit:
                probe = before.strip(_EDGES) + (" " if before.strip(_EDGES) and rest else "") + rest
                return Label(Role.READING, one, unit, probe=probe if text not in before else rest)
            doubt = doubt or (f"{text!r}: {why}" if why and one is quantity else "")
    rest = _BRACKETS.sub(r" \1 ", after).strip(_EDGES)
    probe = "" if doubt else f"{before.strip(_EDGES)} {rest}".strip()
    if quantity is Quantity.PH and not doubt:
        return Label(Role.READING, quantity, "pH", probe=probe)
    return Label(Role.READING, quantity, "", doubt, probe or before.strip(_EDGES))


def _units_in(text: str, unit_row: str, *, bare: bool = False) -> list[tuple[str, str]]:
    """Texts that may be a unit, each with what is left of the header without it."""
    found = [(unit_row, text.strip(_EDGES))] if unit_row else []
    for one in _BRACKETS.finditer(text):
        found.append((one[1].strip(), (text[: one.start()] + " " + text[one.end() :]).strip(_EDGES)))
    outside = _BRACKETS.sub(" ", text)
    aside = " ".join(one[1].strip() for one in _BRACKETS.finditer(text))
    for sign in (",", " / ", ":", "/"):
        head, parted, tail = outside.rpartition(sign)
        if parted and tail.strip():
            found.append((tail.strip(), f"{head.strip(_EDGES)} {aside}".strip()))
    words = [RUN_TOGETHER.get(word.casefold(), word) for word in text.strip(" -:,.").split()]
    if bare:
        for at in range(len(words)):
            found.append((" ".join(words[at:]), " ".join(words[:at]).strip(_EDGES)))
            found.append(("/".join(words[at:]), " ".join(words[:at]).strip(_EDGES)))
            found += [(" ".join(words[: at + 1]), " ".join(words[at + 1 :]).strip(_EDGES))]
    return [one for one in found if one[0] and len(one[0]) <= 30]
