"""Test-kit values at the door: which quantities and units there are, and a value as read off made canonical.

Must not do: guess a unit.
"""

from __future__ import annotations

from functools import lru_cache

from api.domain.husbandry import TEST_KIT, KitValue
from api.domain.quantity import Quantity
from api.science.units import converter, known_units


def kit_value(quantity: Quantity, said: float, unit: str) -> KitValue:
    """A value as it was read off the kit.

    Raises InputError for a unit that is none of the quantity, or an amount no water can have.
    """
    return KitValue(quantity, converter(quantity, unit)(said), said, unit)


@lru_cache(maxsize=1)
def kit_units() -> tuple[tuple[Quantity, tuple[tuple[str, str], ...]], ...]:
    """Each quantity of a kit with code and label of its units, the canonical one first."""
    return tuple((quantity, known_units(quantity)) for quantity in TEST_KIT)
