"""Units at the door: labels people and probes use, to each quantity's canonical unit.

Every factor is exact or names its source. Must not do: need context (percent to mg/L is ``api/science/oxygen.py``).
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

from api.domain.errors import UnknownUnit
from api.domain.quantity import MEANING, Quantity
from api.science.oxygen import MG_PER_ML_STP, OXYGEN_G_PER_MOL

Convert = Callable[[float], float]

_SAME: Convert = float
_TEMPERATURE: dict[str, Convert] = {
    "Cel": _SAME,
    "[degF]": lambda value: (value - 32.0) / 1.8,
    "K": lambda value: value - 273.15,
}
_OXYGEN: dict[str, Convert] = {
    "mg/L": _SAME,
    "umol/L": lambda value: value * OXYGEN_G_PER_MOL / 1000.0,
    "mL/L": lambda value: value * MG_PER_ML_STP,
}
_ALIASES = {
    "cel": "Cel", "c": "Cel", "degc": "Cel", "°c": "Cel", "celsius": "Cel",
    "[degf]": "[degF]", "f": "[degF]", "degf": "[degF]", "°f": "[degF]", "fahrenheit": "[degF]",
    "k": "K", "kelvin": "K",
    "mg/l": "mg/L", "mgl-1": "mg/L", "g/m3": "mg/L",
    "umol/l": "umol/L", "µmol/l": "umol/L", "μmol/l": "umol/L",
    "ml/l": "mL/L",
    "%": "%", "%sat": "%", "percent": "%",
}  # fmt: skip
_OXYGEN_ALIASES = {"ppm": "mg/L"}


@lru_cache(maxsize=1024)
def converter(quantity: Quantity, unit: str) -> Convert:
    """A function from ``unit`` to the quantity's canonical unit.

    Raises UnknownUnit, with the units that would do, for anything else.
    """
    table = _table(quantity)
    label = "".join(unit.split()).lower() if unit not in table else unit
    code = unit if unit in table else _ALIASES.get(label, "")
    if not code and quantity is Quantity.OXYGEN:
        code = _OXYGEN_ALIASES.get(label, "")
    if code not in table:
        raise UnknownUnit(unit, quantity, tuple(table))
    return table[code]


def _table(quantity: Quantity) -> dict[str, Convert]:
    if quantity is Quantity.TEMPERATURE:
        return _TEMPERATURE
    if quantity is Quantity.OXYGEN:
        return _OXYGEN
    return {MEANING[quantity].unit: _SAME}


_BACK: dict[tuple[Quantity, str], Convert] = {
    (Quantity.TEMPERATURE, "[degF]"): lambda value: value * 1.8 + 32.0,
    (Quantity.TEMPERATURE, "K"): lambda value: value + 273.15,
    (Quantity.OXYGEN, "umol/L"): lambda value: value * 1000.0 / OXYGEN_G_PER_MOL,
    (Quantity.OXYGEN, "mL/L"): lambda value: value / MG_PER_ML_STP,
}


def from_canonical(quantity: Quantity, unit: str) -> Convert:
    """A function from the quantity's canonical unit to ``unit`` (a code as in the quantity's table).

    Raises UnknownUnit, with the units that would do, for anything else.
    """
    if unit == MEANING[quantity].unit:
        return _SAME
    back = _BACK.get((quantity, unit))
    if back is None:
        raise UnknownUnit(unit, quantity, tuple(_table(quantity)))
    return back
