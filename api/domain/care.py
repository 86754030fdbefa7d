"""Care ranges: what the water should be, what animals bear, and where harm begins.

The built-in profile states the source of each number. Must not do: judge (``api/judge``).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from api.domain.errors import InputError
from api.domain.quantity import Quantity


@dataclass(frozen=True, slots=True)
class CareRange:
    """Bands of one quantity in its canonical unit; None means no limit on that side.

    target band inside tolerable band inside danger limits. Delays in seconds; ``deadband`` in the quantity's unit.
    ``change_per_hour`` and ``change_per_day``: the largest change animals should bear, in the quantity's unit.
    ``sources``: name of a number and where it comes from; ``source`` holds for the others.
    Raises InputError when the bands contradict each other.
    """

    quantity: Quantity
    target_low: float | None = None
    target_high: float | None = None
    tolerable_low: float | None = None
    tolerable_high: float | None = None
    danger_low: float | None = None
    danger_high: float | None = None
    deadband: float = 0.0
    on_delay_s: float = 600.0
    danger_on_delay_s: float = 120.0
    off_delay_s: float = 600.0
    source: str = "judgement"
    change_per_hour: float | None = None
    change_per_day: float | None = None
    sources: tuple[tuple[str, str], ...] = ()

    def __post_init__(self) -> None:
        ladder = (
            ("danger_low", self.danger_low),
            ("tolerable_low", self.tolerable_low),
            ("target_low", self.target_low),
            ("target_high", self.target_high),
            ("tolerable_high", self.tolerable_high),
            ("danger_high", self.danger_high),
        )
        given = [(name, limit) for name, limit in ladder if limit is not None]
        for (lower_name, lower), (upper_name, upper) in pairwise(given):
            if lower > upper:
                raise InputError(f"{self.quantity}: {lower_name} {lower:g} is above {upper_name} {upper:g}")
        if min(self.deadband, self.on_delay_s, self.danger_on_delay_s, self.off_delay_s) < 0:
            raise InputError(f"{self.quantity}: deadband and delays cannot be negative")
        if any(one is not None and one <= 0 for one in (self.change_per_hour, self.change_per_day)):
            raise InputError(f"{self.quantity}: the largest allowed change must be above zero")

    def source_of(self, name: str) -> str:
        """Where a number comes from."""
        return dict(self.sources).get(name, self.source)

    @property
    def limited(self) -> bool:
        """Whether any limit is set at all; without one nothing can be judged."""
        target = self.target_low is not None or self.target_high is not None
        return target or self.alert_low is not None or self.alert_high is not None

    @property
    def alert_low(self) -> float | None:
        """Below this an alert begins: the tolerable limit, or the danger limit where none is set."""
        return self.danger_low if self.tolerable_low is None else self.tolerable_low

    @property
    def alert_high(self) -> float | None:
        """Above this an alert begins: the tolerable limit, or the danger limit where none is set."""
        return self.danger_high if self.tolerable_high is None else self.tolerable_high


@dataclass(frozen=True, slots=True)
class CareProfile:
    """A named set of care ranges."""

    name: str
    ranges: tuple[CareRange, ...]
    source: str = ""
    species: str = ""
    cool: bool = False

    def range_of(self, quantity: Quantity) -> CareRange | None:
        """The range of one quantity, or None when the profile says nothing of it."""
        return next((r for r in self.ranges if r.quantity is quantity), None)


WARM_WATER = CareProfile(
    name="warm-water",
    source="common practice and the literature named at each range",
    ranges=(
        CareRange(
            Quantity.TEMPERATURE,
            target_low=23.889,
            target_high=29.444,
            tolerable_low=20.0,
            tolerable_high=31.0,
            danger_low=12.0,
            danger_high=34.0,
            deadband=0.3,
            on_delay_s=600.0,
            danger_on_delay_s=120.0,
            off_delay_s=600.0,
            change_per_hour=1.0,
            change_per_day=3.0,
            source="target 75 to 85 F: common practice, no source. Danger: C. quadricarinatus avoids water below"
            " 11.7 C and dies from 34 C (Diaz 2004; extension text). Tolerable band, deadband, delays: judgement",
        ),
        CareRange(
            Quantity.OXYGEN,
            target_low=6.0,
            tolerable_low=5.0,
            danger_low=3.0,
            deadband=0.3,
            on_delay_s=600.0,
            danger_on_delay_s=120.0,
            off_delay_s=600.0,
            source="tolerable: keep above 5 mg/L (Lawson & Wheaton 1982). Target: above 6 mg/L grows best (McClain"
            " 1999). Danger: EPA 440/5-86-003 one-day minimum 3.0 mg/L, warm water, other life stages (from memory)."
            " Deadband, delays: judgement",
        ),
    ),
)
