"""What the rehearsal page shows: counts and a list of alerts, with the settings now beside the moved ones. Pure.

Must not do: decide what an alert is worth.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from api.domain.alert import PRIORITY_ORDER, Priority
from api.domain.care import CareRange
from api.domain.quantity import MEANING
from api.domain.words import KIND_WORDS, duration
from api.services.rehearsing import Pair, Rehearsed, Rehearsing, Wanted, beside
from dashboard.care_pages import number_words
from dashboard.clock import Clock, Moment
from dashboard.words import PRIORITY_WORDS

MOST_LISTED = 300


@dataclass(frozen=True, slots=True)
class StandView:
    """One alert with one of the settings; ``phone`` empty: nobody is told."""

    priority: str
    word: str
    raised: Moment
    phone: str
    stood: str


@dataclass(frozen=True, slots=True)
class PairView:
    """What happens with each of the settings; None: nothing."""

    place: str
    kind: str
    text: str
    now: StandView | None
    moved: StandView | None


@dataclass(frozen=True, slots=True)
class CountView:
    """How many alerts of a kind and priority."""

    kind: str
    priority: str
    word: str
    now: int
    moved: int


@dataclass(frozen=True, slots=True)
class RehearsalView:
    """A rehearsal that is over."""

    told: str
    counts: tuple[CountView, ...]
    pairs: tuple[PairView, ...]
    left_out: int
    basis: str


def rehearsal_view(one: Rehearsing, place: Callable[[str | None], str], clock: Clock) -> RehearsalView:
    """The answer. ``place``: a tank's name."""
    pairs = beside(one.now, one.moved)
    end_ms = one.wanted.end_ms
    shown = [_pair(pair, place, end_ms, clock) for pair in pairs[:MOST_LISTED]]
    return RehearsalView(
        told=f"As it is now: {count_words(one.now)}. With {words_of(one.wanted)}: {count_words(one.moved)}.",
        counts=_counts(one),
        pairs=tuple(shown),
        left_out=len(pairs) - len(shown),
        basis=f"{one.readings:,} readings, the 27 hours before the first time among them, in {duration(one.seconds)}",
    )


def _pair(pair: Pair, place: Callable[[str | None], str], end_ms: int, clock: Clock) -> PairView:
    now, moved = pair
    one = next(stand for stand in pair if stand is not None)
    stands = _stand(now, end_ms, clock), _stand(moved, end_ms, clock)
    return PairView(place(one.tank), KIND_WORDS[one.kind], one.text, *stands)


def _stand(one: Rehearsed | None, end_ms: int, clock: Clock) -> StandView | None:
    if one is None:
        return None
    phone = ""
    if one.phone_ms is not None:
        wait_s = (one.phone_ms - one.raised_ms) / 1000
        phone = "the phone at once" if wait_s < 60 else f"the phone {clock.moment(one.phone_ms).text}"
    until = one.ended_ms if one.ended_ms is not None else end_ms
    stood = duration((until - one.raised_ms) / 1000) + ("" if one.ended_ms is not None else ", and still stands")
    return StandView(str(one.priority), PRIORITY_WORDS[one.priority], clock.moment(one.raised_ms), phone, stood)


def _counts(one: Rehearsing) -> tuple[CountView, ...]:
    now = Counter((alert.kind, alert.priority) for alert in one.now)
    moved = Counter((alert.kind, alert.priority) for alert in one.moved)
    keys = sorted(now.keys() | moved.keys(), key=lambda key: (PRIORITY_ORDER[key[1]], KIND_WORDS[key[0]]))
    return tuple(
        CountView(KIND_WORDS[kind], str(level), PRIORITY_WORDS[level], now[kind, level], moved[kind, level])
        for kind, level in keys
    )


def count_words(alerts: tuple[Rehearsed, ...]) -> str:
    """How many, and how many of them urgent."""
    urgent = sum(one.priority is Priority.URGENT for one in alerts)
    many = f"{len(alerts)} alert{'' if len(alerts) == 1 else 's'}" if alerts else "no alert"
    return f"{many}, {urgent} urgent" if urgent else many


def words_of(wanted: Wanted) -> str:
    """What was moved."""
    unit = "" if MEANING[wanted.quantity].unit_label in ("", "-") else f" {MEANING[wanted.quantity].unit_label}"
    said = []
    for name, value in wanted.numbers.items():
        own = " s" if name.endswith("_s") else unit
        number = "none" if value is None else f"{value:g}{own}"
        said.append(f"{number_words(name).removesuffix(', s')} {number}")
    return f"{MEANING[wanted.quantity].label} {', '.join(said)}" if said else "nothing moved"


def in_force(care: CareRange | None, names: tuple[str, ...]) -> dict[str, str]:
    """Each number as it is in force, as a form says it."""
    values: Mapping[str, float | None] = {name: getattr(care, name, None) for name in names}
    return {name: "none" if value is None else f"{value:g}" for name, value in values.items()}
