"""One reading as pages show it: number, unit, place in its care range, and in words what is doubtful about it.

Must not do: judge; bands and flags are given. An old or unusable value is never shown as the present one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from api.domain.band import Band
from api.domain.quantity import MEANING, Quantity
from api.domain.reading import Flag
from api.services.answers import Latest
from dashboard.clock import Clock, Moment
from dashboard.scale import Scale, limits_words, scale_of
from dashboard.units import MG_L, Units, lens
from dashboard.words import BAND_WORDS, FLAG_WORDS, band_words

UNJUDGED = "unjudged"
OXYGENS = (Quantity.OXYGEN, Quantity.OXYGEN_SATURATION)


@dataclass(frozen=True, slots=True)
class ReadingView:
    """A reading ready to show. ``mark`` names the state's shape; ``number`` is empty when the value is not known."""

    quantity: Quantity
    label: str
    probe: str
    number: str
    unit: str
    other: str
    mark: str
    word: str
    trend: str
    doubt: str
    unchecked: bool
    when: Moment | None
    scale: Scale | None
    limits: tuple[tuple[str, str], ...]
    source: str
    derived: bool

    @property
    def judged(self) -> bool:
        """Whether there is a care range to place it in, or something wrong with it."""
        return self.mark != UNJUDGED or bool(self.doubt)


def reading_views(latest: Sequence[Latest], units: Units, clock: Clock, most: float | None) -> tuple[ReadingView, ...]:
    """All readings of a tank, oxygen's two amounts as one, those with a care range first."""
    views = [_view(main, partner, units, clock, most) for main, partner in _paired(latest)]
    return tuple(sorted(views, key=lambda view: not view.judged))


def _paired(latest: Sequence[Latest]) -> list[tuple[Latest, Latest | None]]:
    """Each reading with its partner: the same probe's oxygen in the other amount. The one with a care range leads."""
    pairs: list[tuple[Latest, Latest | None]] = []
    done: set[tuple[str, Quantity]] = set()
    by_key = {(item.probe, item.quantity): item for item in latest}
    for item in latest:
        if (item.probe, item.quantity) in done:
            continue
        partner = None
        if item.quantity in OXYGENS:
            other = OXYGENS[1 - OXYGENS.index(item.quantity)]
            partner = by_key.get((item.probe, other))
        if partner is not None:
            done.add((partner.probe, partner.quantity))
            if (partner.care is not None, partner.quantity is Quantity.OXYGEN) > (
                item.care is not None,
                item.quantity is Quantity.OXYGEN,
            ):
                item, partner = partner, item
        done.add((item.probe, item.quantity))
        pairs.append((item, partner))
    return pairs


def _view(main: Latest, partner: Latest | None, units: Units, clock: Clock, most: float | None) -> ReadingView:
    shown_by = lens(main.quantity, units, most)
    known = main.value is not None and not main.quiet
    number, unit = (shown_by.number(main.value), shown_by.unit) if known and main.value is not None else ("", "")
    other = ""
    if known and partner is not None and partner.value is not None:
        # Both amounts are there: take the partner's own value rather than a converted one.
        first, second = (main, partner) if _wanted(main.quantity, units) else (partner, main)
        number, unit = _own(first)
        other = " ".join(_own(second))
    mark, word = _state(main, known)
    return ReadingView(
        quantity=main.quantity,
        label="oxygen" if main.quantity in OXYGENS else MEANING[main.quantity].label,
        probe=main.probe,
        number=number,
        unit=unit,
        other=other,
        mark=mark,
        word=word,
        trend=_trend(main, units, most) if known else "",
        doubt=_doubt(main, units, clock, most),
        unchecked=known and main.flag is Flag.NOT_EVALUATED,
        when=clock.maybe(main.time_ms),
        scale=scale_of(main.care, main.value if known else None),
        limits=tuple(limits_words(main.care, shown_by.text)) if main.care else (),
        source=main.care.source if main.care else "",
        derived=main.derived,
    )


def _wanted(quantity: Quantity, units: Units) -> bool:
    return (quantity is Quantity.OXYGEN) == (units.oxygen == MG_L)


def _own(item: Latest) -> tuple[str, str]:
    own = lens(item.quantity, Units(oxygen=MG_L), None)
    return (own.number(item.value) if item.value is not None else "", own.unit)


def _state(main: Latest, known: bool) -> tuple[str, str]:
    if not known:
        return Band.UNKNOWN, BAND_WORDS[Band.UNKNOWN]
    if main.care is None and main.band is Band.UNKNOWN:
        return UNJUDGED, "no care range set"
    return main.band, band_words(main.band, main.side)


def _trend(main: Latest, units: Units, most: float | None) -> str:
    slope = main.trend_per_hour
    if slope is None:
        return ""
    if slope == 0:
        return "steady"
    return f"{'rising' if slope > 0 else 'falling'} {lens(main.quantity, units, most).per_hour(slope)}"


def _doubt(main: Latest, units: Units, clock: Clock, most: float | None) -> str:
    """Why the value is not plainly good; empty when it is."""
    if main.time_ms is None:
        return "this probe was never heard"
    if main.quiet:
        when = clock.moment(main.time_ms)
        last = f", last {lens(main.quantity, units, most).text(main.value)}" if main.value is not None else ""
        return f"probe quiet for {when.ago}{last} at {when.text}"
    if main.value is None:
        return main.reason or "the value cannot be used"
    if main.flag is Flag.GOOD or (main.flag is Flag.NOT_EVALUATED and not main.reason):
        return ""
    return FLAG_WORDS[main.flag] + (f": {main.reason}" if main.reason else "")
