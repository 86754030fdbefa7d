"""Whether a value that jumped is the value before it in another unit: a probe whose setting was changed.

Pure. Must not do: convert a reading; this is a question to a person, never a correction.
"""

from __future__ import annotations

from collections.abc import Callable

from api.domain.quantity import MEANING, Quantity

NEAR_C, NEAR_SHARE = 1.5, 0.08
"""How far water may have moved between the two readings and still be taken for the same: judgement."""
OXYGEN_FULL_MG_L = (6.4, 14.7)
"""Air-saturated fresh water, 1 atm, at 40 and 0 degC: 6.41, 14.62 (Benson & Krause 1984, USGS TM 2011.03). [mg/L]"""

Turn = Callable[[float], float]

_TEMPERATURE: tuple[tuple[str, Turn], ...] = (
    ("°F", lambda said: (said - 32.0) / 1.8),
    ("K", lambda said: said - 273.15),
)
"""What a number means if the probe now speaks another unit than it says."""
_TEMPERATURE_BACK: tuple[tuple[str, Turn], ...] = (
    ("°F", lambda now: now * 1.8 + 32.0),
    ("K", lambda now: now + 273.15),
)
"""What a probe said that is converted from another unit, if it now speaks degrees Celsius."""
_FACTORS: dict[Quantity, tuple[tuple[str, float], ...]] = {
    Quantity.OXYGEN: (("µmol/L", 0.0319988), ("µg/L", 0.001)),
    Quantity.CONDUCTIVITY: (("mS/cm", 1000.0), ("S/m", 10000.0), ("mS/m", 10.0)),
    Quantity.PRESSURE: (("hPa", 0.1), ("mmHg", 101.325 / 760.0), ("Pa", 0.001), ("bar", 100.0)),
}
"""Canonical units in one unit of each label; µmol from the molar mass of O2, the others exact."""


def looks_swapped(quantity: Quantity, before: float, now: float) -> str:
    """The question to ask when ``now`` is ``before`` in another unit; empty when it is not."""
    if quantity is Quantity.TEMPERATURE:
        return _temperature(before, now)
    unit = MEANING[quantity].unit_label
    for label, factor in _FACTORS.get(quantity, ()):
        if _near(now * factor, before):
            return _question(now, label, now * factor, unit)
        if _near(now / factor, before):
            return f"{now:g} {unit} is {now / factor:.3g} {unit} read as {label}: {_CHANGED}"
    if quantity is Quantity.OXYGEN and before > 0 and _is_full(before, now):
        return f"{now:g} as % of air saturation could be {before:g} mg/L: {_CHANGED}"
    if quantity is Quantity.OXYGEN_SATURATION and now > 0 and _is_full(now, before):
        return f"{now:g} as mg/L could be {before:g} % of air saturation: {_CHANGED}"
    return ""


_CHANGED = "has the probe changed its unit?"


def _temperature(before: float, now: float) -> str:
    for label, turn in _TEMPERATURE:
        if abs(turn(now) - before) <= NEAR_C:
            return _question(now, label, turn(now), "°C")
    for label, turn in _TEMPERATURE_BACK:
        if abs(turn(now) - before) <= NEAR_C:
            return f"{now:.1f} °C is {turn(now):.1f} °C read as {label}: {_CHANGED}"
    return ""


def _question(now: float, label: str, meant: float, unit: str) -> str:
    return f"{now:.6g} as {label} is {meant:.3g} {unit}: {_CHANGED}"


def _near(value: float, before: float) -> bool:
    return before > 0 and abs(value - before) <= NEAR_SHARE * before


def _is_full(oxygen_mg_l: float, percent: float) -> bool:
    """Whether a concentration and a percentage can be the same water's."""
    return percent > 0 and OXYGEN_FULL_MG_L[0] <= 100.0 * oxygen_mg_l / percent <= OXYGEN_FULL_MG_L[1]
