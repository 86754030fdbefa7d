"""Showing values in the units a keeper chose: temperature in Celsius or Fahrenheit, oxygen in mg/L or percent.

Everything is kept in canonical units; a lens only changes what is shown. Must not do: change a stored value.
"""

from __future__ import annotations

from dataclasses import dataclass

from api.domain.quantity import MEANING, Quantity

CELSIUS, FAHRENHEIT, MG_L, PERCENT = "c", "f", "mg", "percent"


@dataclass(frozen=True, slots=True)
class Units:
    """What a keeper chose."""

    temperature: str = CELSIUS
    oxygen: str = MG_L

    @classmethod
    def of(cls, temperature: str | None, oxygen: str | None) -> Units:
        """Units from what a cookie says; anything unknown means the usual one."""
        return cls(FAHRENHEIT if temperature == FAHRENHEIT else CELSIUS, PERCENT if oxygen == PERCENT else MG_L)


@dataclass(frozen=True, slots=True)
class Lens:
    """How a canonical value is shown: ``value * factor + offset`` with ``decimals`` and ``unit``."""

    unit: str
    decimals: int
    factor: float = 1.0
    offset: float = 0.0

    def see(self, value: float) -> float:
        """The value to show."""
        return value * self.factor + self.offset

    def number(self, value: float) -> str:
        """The value to show, rounded, with a true minus sign and without a negative zero."""
        text = f"{self.see(value):.{self.decimals}f}"
        if float(text) == 0:
            text = text.lstrip("-")
        return text.replace("-", "\N{MINUS SIGN}")

    def text(self, value: float) -> str:
        """Number and unit."""
        return f"{self.number(value)} {self.unit}"

    def per_hour(self, slope: float) -> str:
        """A slope per hour, without its sign."""
        return f"{abs(slope * self.factor):.{max(1, self.decimals)}f} {self.unit} per hour"


def lens(quantity: Quantity, units: Units, most_oxygen_mg_l: float | None = None) -> Lens:
    """The lens of a quantity. Oxygen changes unit only when full saturation is known."""
    if quantity is Quantity.TEMPERATURE and units.temperature == FAHRENHEIT:
        return Lens("°F", 1, 1.8, 32.0)
    if quantity is Quantity.OXYGEN and units.oxygen == PERCENT and most_oxygen_mg_l:
        return Lens("%", 0, 100.0 / most_oxygen_mg_l)
    if quantity is Quantity.OXYGEN_SATURATION:
        if units.oxygen == MG_L and most_oxygen_mg_l:
            return Lens("mg/L", 1, most_oxygen_mg_l / 100.0)
        return Lens("%", 0)
    meaning = MEANING[quantity]
    unit = "" if quantity is Quantity.PH else meaning.unit_label
    return Lens(unit, meaning.decimals)
