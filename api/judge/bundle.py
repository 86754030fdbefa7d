"""What one message says: one alert, or several that are told together, and why it comes again.

The first 160 characters are the worst alert's own: tank, value, limit, trend, time left, first thing to check.
Pure. Must not do: make an alert's own words (``words.py``).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from api.domain.alert import PRIORITY_ORDER, Priority
from api.domain.words import duration
from api.judge.words import CAUTION

MOST_LISTED = 12


@dataclass(frozen=True, slots=True)
class Said:
    """One alert as it is told: where and what, its words, why it is told again; ``over``: it has ended."""

    place: str
    kind: str
    text: str
    priority: Priority
    lead: str = ""
    over: bool = False


def order(said: Sequence[Said]) -> list[Said]:
    """What stands before what is over, the most urgent first."""
    return sorted(said, key=lambda one: (one.over, PRIORITY_ORDER[one.priority]))


def title(said: Sequence[Said]) -> str:
    """A message's title."""
    first = order(said)[0]
    what = f"{first.place}: {first.kind}"
    more = f" and {len(said) - 1} more" if len(said) > 1 else ""
    if first.over:
        return f"{what}{more} {'are' if more else 'is'} over"
    return f"{'URGENT ' if first.priority is Priority.URGENT else ''}{what}{more}"


def body(said: Sequence[Said], link: str = "") -> str:
    """A message's text. ``link`` is where it can be answered; empty: nowhere."""
    ordered = order(said)
    if len(ordered) == 1:
        lines = [_line(ordered[0])]
    else:
        listed = ordered[:MOST_LISTED]
        lines = [f"{n} of {len(ordered)}: {_line(one)}" for n, one in enumerate(listed, 1)]
        if len(ordered) > MOST_LISTED:
            lines.append(f"and {len(ordered) - MOST_LISTED} more; the alerts page has them all.")
    if link:
        lines.append(f"Answer here: {link}")
    if not ordered[0].over:
        lines.append(CAUTION)
    return "\n".join(lines)


def _line(one: Said) -> str:
    return f"{one.text} {one.lead}".rstrip()


def unanswered(since_s: float) -> str:
    """Why an alert is told again."""
    return f"Nobody has acknowledged it for {duration(since_s)}."


def not_reached(names: Sequence[str]) -> str:
    """Why somebody else is told, or by another way."""
    who = " and ".join(names)
    return f"{who} could not be reached." if who else "Nobody could be reached."


def ran_out(person: str, since_s: float) -> str:
    """Why an alert is told although it was acknowledged."""
    return f"{person} acknowledged it {duration(since_s)} ago, and it still stands."


def cannot_go(person: str) -> str:
    """Why the next one is told."""
    return f"{person or 'Somebody'} cannot go."
