"""Units at the door: labels people and probes use, to each quantity's canonical unit and back.

Takes codes of SenML's registry (RFC 8428, RFC 8798) and of UCUM, and what people type; refuses what is not clear,
naming the choices. Must not do: need context (percent to mg/L is ``api/science/oxygen.py``), or guess.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from functools import lru_cache

from api.domain.errors import UnclearUnit, UnknownUnit
from api.domain.quantity import Quantity
from api.science.unit_aliases import ALIASES, AMOUNTS, EXACT, FORMS
from api.science.unit_doubts import Doubt, common_doubt, doubt
from api.science.unit_labels import LONGEST, amount, compact
from api.science.unit_table import TABLE, Unit

Convert = Callable[[float], float]
"""Takes a number, and as well an array of them."""


@lru_cache(maxsize=1024)
def converter(quantity: Quantity, unit: str) -> Convert:
    """A function from ``unit`` to the quantity's canonical unit.

    Raises UnknownUnit, with the units that would do; UnclearUnit where the label could mean several things.
    """
    return _to_canonical(_unit(quantity, unit))


@lru_cache(maxsize=1024)
def from_canonical(quantity: Quantity, unit: str) -> Convert:
    """A function from the quantity's canonical unit to ``unit``.

    Raises UnknownUnit, with the units that would do; UnclearUnit where the label could mean several things.
    """
    return _to_unit(_unit(quantity, unit))


def unit_code(quantity: Quantity, unit: str) -> str:
    """The code of the unit a label means for a quantity.

    Raises UnknownUnit, with the units that would do; UnclearUnit where the label could mean several things.
    """
    return _unit(quantity, unit).code


def known_units(quantity: Quantity) -> tuple[tuple[str, str], ...]:
    """Code and label of each unit the quantity can be given in, the canonical one first."""
    return tuple((unit.code, unit.label) for unit in TABLE[quantity])


def _to_canonical(unit: Unit) -> Convert:
    up, down, zero = unit.up, unit.down, unit.zero
    if zero:
        return lambda value: (value - zero) * up / down
    if down != 1.0:
        return lambda value: value * up / down
    return lambda value: value * up


def _to_unit(unit: Unit) -> Convert:
    up, down, zero = unit.up, unit.down, unit.zero
    if zero:
        return lambda value: value * down / up + zero
    if up != 1.0:
        return lambda value: value * down / up
    return lambda value: value * down


def _unit(quantity: Quantity, unit: str) -> Unit:
    found = _look_up(quantity, unit[: LONGEST + 1])
    if isinstance(found, Unit):
        return found
    shown = unit[:LONGEST]
    if found is None:
        raise UnknownUnit(shown, quantity, tuple(code for code, _ in known_units(quantity)))
    raise UnclearUnit(shown, quantity, found.why, found.todo, found.choices)


@lru_cache(maxsize=1024)
def _look_up(quantity: Quantity, label: str) -> Unit | Doubt | None:
    """The unit a label means, why it is refused, or None; kept too, as a wrong label comes with every reading."""
    if len(label) > LONGEST:
        return None
    codes = {unit.code: unit for unit in TABLE[quantity]}
    text = compact(label)
    shown = {unit.label: unit for unit in TABLE[quantity]}
    plain = shown.get(label) or codes.get(label) or codes.get(EXACT.get(quantity, {}).get(text, ""))
    if plain:
        return plain
    return doubt(quantity, text) or codes.get(_code(quantity, text, codes)) or common_doubt(quantity, text)


def _code(quantity: Quantity, text: str, codes: Collection[str]) -> str:
    """The code a compact label means, upper or lower case; empty when none."""
    low = text.casefold()
    alias = ALIASES.get(quantity, {}).get(low)
    if alias:
        return alias
    if quantity not in FORMS:
        return next((code for code in codes if compact(code).casefold() == low), "")
    base, form = amount(low) or ("", "")
    code, kept = AMOUNTS.get(base, ""), FORMS[quantity].get(form)
    if kept is None:
        return ""
    named = f"{code} {kept}" if kept else code
    same = "g" not in base or (quantity is Quantity.ALKALINITY and kept == "CaCO3")
    # A mole of it is a mole of each of its forms; alkalinity's masses are kept as CaCO3, its moles are not.
    return code if same and named not in codes else named
