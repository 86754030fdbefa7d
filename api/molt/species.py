"""What is known of a species before its animals are: the clock's temperatures, pace, size at maturity, eggs.

The numbers themselves stand in ``species_table``. Must not do: learn from a room.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, log

JUDGED = "judgement"
PRACTICE = "common practice, no source"
SIZE_EXPONENT = 0.8
"""An interval in degree-days grows with carapace length to this power: 0.77 in the table of kozak_2009. [1]"""
REFERENCE_MM = 10.0
"""Carapace length at which paces are told and compared. [mm]"""

Curve = tuple[tuple[float, float], ...]
"""A rate of development over temperature, straight between its points and level outside: (temperature, rate)."""


@dataclass(frozen=True, slots=True)
class Figure:
    """A number with its spread (1 standard deviation) and where it comes from. ``sd`` 0: taken as it is."""

    value: float
    unit: str
    source: str
    note: str = ""
    sd: float = 0.0


@dataclass(frozen=True, slots=True)
class Species:
    """Prior figures of a species.

    ``zero`` and ``cap`` bound the temperatures that drive the molt clock. ``pace`` is k0 of
    ln K = k0 + 0.8 ln(carapace length), K in degree-days above ``zero``. ``winter``: mature animals slow down or
    stop in winter. ``hatching`` is the rate at which eggs develop over temperature, 1 = hatched; ``clutch`` the
    spread of a clutch about it; ``carried`` how long young ride on the mother. ``usual_c`` stands in where no
    temperature is known at all.
    """

    name: str
    zero: Figure
    cap: Figure
    pace: Figure
    mature: Figure
    winter: bool
    hatching: Curve
    clutch: Figure
    carried: Figure
    usual_c: float
    known: bool = True

    @property
    def curve(self) -> Curve:
        """Degree-days of the molt clock per day, over temperature. [Cel, Cel]"""
        return ((self.zero.value, 0.0), (self.cap.value, self.cap.value - self.zero.value))

    def typical_degree_days(self, carapace_mm: float, mature_ln: float = 0.0) -> float:
        """The interval expected before any molt was seen.

        Parameters
        ----------
        carapace_mm : float
            Carapace length in the interval. [mm]
        mature_ln : float
            What maturity adds to its logarithm (``intervals.MATURE_MALE``, ``MATURE_FEMALE``). [1]

        Returns
        -------
        float
            K = exp(k0 + 0.8 ln(length) + maturity), above the species' thermal zero. [degree-day]

        References
        ----------
        kozak_2009, mcclain_2010, seitz_2005
        """
        return exp(self.pace.value + SIZE_EXPONENT * log(carapace_mm) + mature_ln)

    @property
    def figures(self) -> tuple[tuple[str, Figure], ...]:
        """Name and number of each, for people who ask where they come from."""
        return (
            ("the molt clock stands still below", self.zero),
            ("the molt clock runs no faster above", self.cap),
            ("pace of the molt clock, k0", self.pace),
            ("carapace length at maturity", self.mature),
            ("spread of a clutch about the rate of hatching", self.clutch),
            ("young ride on the mother after hatching", self.carried),
        )


def by_degree_days(zero_c: float, degree_days: float, cap_c: float) -> Curve:
    """A rate in a straight line from a thermal zero, so that the sum of degree-days until hatching is fixed."""
    return ((zero_c, 0.0), (cap_c, (cap_c - zero_c) / degree_days))


def by_days(*points: tuple[float, float], zero_c: float, cap_c: float) -> Curve:
    """A rate through published durations (temperature, days); beyond the warmest on the last line up to a cap."""
    rates = [(temperature_c, 1.0 / days) for temperature_c, days in points]
    (t0, r0), (t1, r1) = rates[-2:]
    if cap_c > t1:
        rates.append((cap_c, r1 + (cap_c - t1) * (r1 - r0) / (t1 - t0)))
    return ((zero_c, 0.0), *rates)


def pace(degree_days: float, sd: float, source: str, note: str = "") -> Figure:
    """k0 from the degree-days an animal of 1 mm would need, which is how the sources' fits come."""
    return Figure(log(degree_days), "ln(degree-day / mm^0.8)", source, note, sd)
