"""The scale: a value's place in its care range as a small mark, the same zones for every quantity.

Each zone has its own width whatever the numbers are, so that "how close to danger" looks alike for heat and oxygen.
Must not do: judge; the band of a reading is given to it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from api.domain.band import Band
from api.domain.care import CareRange

WIDTHS = {Band.DANGER: 16.0, Band.OUTSIDE: 20.0, Band.TOLERABLE: 24.0, Band.TARGET: 48.0}


@dataclass(frozen=True, slots=True)
class Zone:
    """One zone, from ``x`` on, ``width`` wide, in the drawing's own units."""

    band: Band
    x: float
    width: float


@dataclass(frozen=True, slots=True)
class Scale:
    """The zones of a care range and where the value stands among them (None: no value to place)."""

    zones: tuple[Zone, ...]
    width: float
    place: float | None


def scale_of(care: CareRange | None, value: float | None) -> Scale | None:
    """The scale of a care range; None when it has no limits at all."""
    if care is None:
        return None
    spans = _spans(care)
    if len(spans) < 2:
        return None
    zones, x, place, rising = [], 0.0, None, False
    for band, low, high in spans:
        width = WIDTHS[band]
        zones.append(Zone(band, x, width))
        rising = rising or band is Band.TARGET
        below = high is None or (value is not None and (value < high or (rising and value == high)))
        if value is not None and place is None and below:
            place = x + width * _share(value, low, high)
        x += width
    return Scale(tuple(zones), x, place)


Span = tuple[Band, float | None, float | None]


def _spans(care: CareRange) -> list[Span]:
    """Bands from low to high with their ends; an end of None is open. A limit belongs to the better band."""
    low = [(Band.DANGER, care.danger_low), (Band.OUTSIDE, care.tolerable_low), (Band.TOLERABLE, care.target_low)]
    high = [(Band.TOLERABLE, care.target_high), (Band.OUTSIDE, care.tolerable_high), (Band.DANGER, care.danger_high)]
    spans: list[Span] = []
    last: float | None = None
    for band, end in low:
        if end is not None:
            spans.append((band, last, end))
            last = end
    rising = [(band, start) for band, start in high if start is not None]
    spans.append((Band.TARGET, last, rising[0][1] if rising else None))
    for index, (band, start) in enumerate(rising):
        spans.append((band, start, rising[index + 1][1] if index + 1 < len(rising) else None))
    return spans


def _share(value: float, low: float | None, high: float | None) -> float:
    """How far into a zone a value is, kept a little off the zone's ends; open zones fill slowly."""
    if low is not None and high is not None:
        share = (value - low) / (high - low) if high > low else 0.5
    elif low is not None:
        share = _open(value - low, low)
    elif high is not None:
        share = 1.0 - _open(high - value, high)
    else:
        share = 0.5
    return min(max(share, 0.06), 0.94)


def _open(beyond: float, limit: float) -> float:
    """Share of an open zone: half of it at a third of the limit beyond, never quite its end."""
    reach = abs(limit) / 3 or 1.0
    return beyond / (beyond + reach)


def limits_words(care: CareRange, text: Callable[[float], str]) -> list[tuple[str, str]]:
    """(band word, span in words) of a care range, best first; ``text`` turns a limit into number and unit."""
    pairs = (
        ("target", care.target_low, care.target_high),
        ("tolerable", care.tolerable_low, care.tolerable_high),
    )
    words = [(name, _between(low, high, text)) for name, low, high in pairs if low is not None or high is not None]
    parts = []
    if care.danger_low is not None:
        parts.append(f"below {text(care.danger_low)}")
    if care.danger_high is not None:
        parts.append(f"above {text(care.danger_high)}")
    return words + ([("danger", " or ".join(parts))] if parts else [])


def _between(low: float | None, high: float | None, text: Callable[[float], str]) -> str:
    if low is None:
        return f"up to {text(high)}" if high is not None else ""
    return f"{text(low)} and up" if high is None else f"{text(low)} to {text(high)}"
