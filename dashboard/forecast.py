"""What is expected of an animal, in words: its next molt and its eggs. Must not do: turn a late molt into an alarm."""

from __future__ import annotations

from dataclasses import dataclass

from api.services.molts import ClutchOutlook, MoltOutlook
from dashboard.clock import MONTHS, Clock

LIKELY_UNSEEN = 0.5


@dataclass(frozen=True, slots=True)
class MoltForecast:
    """An animal's next molt ready to show. ``short`` is one line for a list."""

    short: str
    windows: tuple[tuple[str, str], ...]
    chances: tuple[tuple[str, str], ...]
    rests_on: str
    warnings: tuple[str, ...]


def molt_forecast(outlook: MoltOutlook, clock: Clock) -> MoltForecast:
    """One animal's next molt."""
    warnings = list(outlook.warnings)
    if outlook.already >= LIKELY_UNSEEN:
        warnings.append("it may well have molted unseen: look for an exuvia and measure it")
    soon = f"{percent(outlook.within_7d)} within 7 days"
    window = span(outlook.window_80[0], outlook.window_80[1], clock)
    return MoltForecast(
        short="the clock stands still while she is berried" if outlook.held else f"{window}; {soon}",
        windows=(
            ("half of the chance", span(outlook.window_50[0], outlook.window_50[1], clock)),
            ("four fifths of it", window),
        ),
        chances=(
            ("within 3 days", percent(outlook.within_3d)),
            ("within 7 days", percent(outlook.within_7d)),
            ("within 14 days", percent(outlook.within_14d)),
        ),
        rests_on=outlook.basis.words,
        warnings=tuple(warnings),
    )


def clutch_lines(outlook: ClutchOutlook, clock: Clock) -> tuple[str, ...]:
    """What is expected of eggs or young, and what to do."""
    said = []
    if outlook.hatched:
        if outlook.mother_leaves_ms is not None:
            said.append(f"Take the mother out by {day(outlook.mother_leaves_ms, clock)}.")
    elif outlook.hatch_low_ms is not None:
        window = span(outlook.hatch_low_ms, outlook.hatch_high_ms, clock)
        said.append(f"Hatching expected {window} (80 % window); the eggs are {percent(outlook.done)} of the way.")
    return (*said, *(f"{note[:1].upper()}{note[1:]}{'' if note.endswith('.') else '.'}" for note in outlook.notes))


def day(time_ms: int, clock: Clock) -> str:
    """ "9 Oct", with the year when it is not this one."""
    local, today = clock.local(time_ms), clock.local(clock.now_ms)
    return f"{local.day} {MONTHS[local.month - 1]}" + (f" {local.year}" if local.year != today.year else "")


def span(low_ms: int | None, high_ms: int | None, clock: Clock) -> str:
    """ "1 to 9 Oct" and the like; an end that is later than can be told is left open."""
    if low_ms is None:
        return "later than can be told"
    start_ms = max(low_ms, clock.now_ms)
    start = "now" if low_ms <= clock.now_ms else day(start_ms, clock)
    if high_ms is None:
        return f"from {start} on"
    end = day(max(high_ms, clock.now_ms), clock)
    return start if start == end else f"{start} to {end}"


def percent(share: float) -> str:
    """A chance in whole percent; never 0 or 100 for what is merely near it."""
    if share < 0.005:
        return "below 1 %"
    return "above 99 %" if share > 0.995 else f"{100 * share:.0f} %"
