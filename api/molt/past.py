"""One animal's past as the clock needs it: molts, sizes, holds, where its record begins, and what was odd in it.

Must not do: refuse an animal; what cannot be meant is left out and said.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from datetime import UTC, datetime
from math import exp, hypot, log, log1p

from api.domain.life import Life, Sign, Stay
from api.molt.clock import DAY_MS
from api.molt.increment import gain
from api.molt.species import Species
from api.molt.species_table import figures_of

APART_MS = DAY_MS
"""Two molts nearer than this are one, told twice. [ms]"""
EXUVIA_MS = 3 * DAY_MS
"""How old an exuvia may be that was found with no look before told: it is eaten in two to three days (common practice).
[ms]"""
MEASURED_SD, GAIN_STEP_SD = 0.02, 0.05
"""Spread of ln(carapace length): of a measurement, and added by each molt since. Judgement. [1, 1]"""
GUESS_SHARE, GUESS_SD = 0.6, 0.5
"""An animal that was never measured: a share of the length at maturity, and the spread of its logarithm. Judgement."""


@dataclass(frozen=True, slots=True)
class Hold:
    """A time in which the clock stands still: eggs or young under the tail. ``until_ms`` None: still."""

    since_ms: int
    until_ms: int | None


@dataclass(frozen=True, slots=True)
class Moment:
    """A molt between two times, as far as it is known. [ms]"""

    first_ms: int
    last_ms: int

    @property
    def middle_ms(self) -> int:
        """The best single time."""
        return (self.first_ms + self.last_ms) // 2


@dataclass(frozen=True, slots=True)
class Past:
    """An animal as the clock sees it at a time.

    ``moments`` are its molts; between them lie spans 0 (before the first) to n (now). ``ln_mm`` and ``ln_mm_sd`` are
    the logarithm of its carapace length in each span. ``since_ms`` is where its record begins, ``looked_ms`` when it
    was last seen, ``hatched_ms`` when it can first have molted.
    """

    life: Life
    species: Species
    moments: tuple[Moment, ...]
    ln_mm: tuple[float, ...]
    ln_mm_sd: tuple[float, ...]
    stays: tuple[Stay, ...]
    holds: tuple[Hold, ...]
    signs: tuple[Sign, ...]
    since_ms: int
    looked_ms: int
    hatched_ms: int | None
    warnings: tuple[str, ...]

    @property
    def measured(self) -> bool:
        """Whether its size now rests on a measurement."""
        return self.ln_mm_sd[-1] < GUESS_SD


def past_of(life: Life, now_ms: int, looked_ms: int | None = None) -> Past:
    """An animal's past up to a time. ``looked_ms``: the last look at it that would have seen a molt; None: now."""
    warnings: list[str] = []
    hatched_ms = None
    if life.animal.hatched is not None:
        hatched_ms = round(datetime.combine(life.animal.hatched, datetime.min.time(), UTC).timestamp() * 1000)
    end_ms = now_ms if life.died_ms is None else min(now_ms, life.died_ms)
    moments = _moments(life, end_ms, hatched_ms, warnings)
    species = figures_of(life.animal.species)
    if not species.known:
        name = life.animal.species.strip()
        warnings.append(f"no figures for the species {name!r}: very wide" if name else "species not told: very wide")
    looked = end_ms if looked_ms is None else min(max(looked_ms, moments[-1].last_ms if moments else 0), end_ms)
    ln_mm, ln_mm_sd = _lengths(life, moments, species, end_ms)
    if ln_mm_sd[-1] >= GUESS_SD:
        warnings.append("never measured: its size is a guess, so the window is wide")
    return Past(
        life=life,
        species=species,
        moments=moments,
        ln_mm=ln_mm,
        ln_mm_sd=ln_mm_sd,
        stays=life.stays,
        holds=tuple(
            Hold(start, clutch.over_ms)
            for clutch in life.clutches
            if (start := clutch.eggs_ms if clutch.eggs_ms is not None else clutch.hatched_ms) is not None
        ),
        signs=_signs(life, moments, now_ms),
        since_ms=_since(life, moments, looked),
        looked_ms=looked,
        hatched_ms=hatched_ms,
        warnings=tuple(warnings),
    )


def _moments(life: Life, end_ms: int, hatched_ms: int | None, warnings: list[str]) -> tuple[Moment, ...]:
    """Its molts in order; what lies in the future, before hatching, or twice on a day is left out and said."""
    out: list[Moment] = []
    for molt in sorted(life.molts, key=lambda one: one.time_ms):
        if molt.time_ms > end_ms:
            dead = life.died_ms is not None and molt.time_ms > life.died_ms
            warnings.append(f"a molt {'after its death' if dead else 'in the future'} is left out")
            continue
        if hatched_ms is not None and molt.time_ms < hatched_ms:
            warnings.append("a molt before it hatched is left out")
            continue
        first_ms = molt.first_ms
        if molt.since_ms is None and not molt.seen:
            first_ms = molt.time_ms - EXUVIA_MS
        if out and molt.time_ms - out[-1].last_ms < APART_MS:
            warnings.append("two molts within a day are taken for one")
            continue
        if out:
            first_ms = max(first_ms, out[-1].last_ms)
        out.append(Moment(first_ms, molt.time_ms))
    return tuple(out)


def _signs(life: Life, moments: tuple[Moment, ...], now_ms: int) -> tuple[Sign, ...]:
    """Signs of the molt to come: those seen since the last one."""
    last_ms = moments[-1].last_ms if moments else -1
    return tuple(one for one in life.signs if last_ms < one.time_ms <= now_ms)


def _since(life: Life, moments: tuple[Moment, ...], end_ms: int) -> int:
    """Where its record begins: the first thing told of it."""
    told = [stay.since_ms for stay in life.stays[:1]] + [one.time_ms for one in life.sizes[:1]]
    told += [one.first_ms for one in moments[:1]]
    if life.animal.arrived is not None:
        told.append(round(datetime.combine(life.animal.arrived, datetime.min.time(), UTC).timestamp() * 1000))
    return min([one for one in told if one <= end_ms], default=end_ms)


def _lengths(
    life: Life, moments: tuple[Moment, ...], species: Species, end_ms: int
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Logarithm of the carapace length in each span and its spread: measured, or grown from the nearest measurement."""
    spans = len(moments) + 1
    last_ms = [one.last_ms for one in moments]
    seen: dict[int, float] = {}
    for size in life.sizes:
        if size.carapace_mm is not None and size.time_ms <= end_ms:
            seen[bisect_right(last_ms, size.time_ms)] = log(size.carapace_mm)
    known = sorted(seen)
    if not known:
        start = log(species.mature.value * GUESS_SHARE)
        return (start,) * spans, (GUESS_SD,) * spans
    values, spread = [0.0] * spans, [0.0] * spans
    for span in range(known[0], spans):
        if span in seen:
            values[span], spread[span] = seen[span], MEASURED_SD
        else:
            values[span] = values[span - 1] + _step(values[span - 1])
            spread[span] = hypot(spread[span - 1], GAIN_STEP_SD)
    for span in range(known[0] - 1, -1, -1):
        values[span] = values[span + 1] - _step(values[span + 1] - 0.14)
        spread[span] = hypot(spread[span + 1], GAIN_STEP_SD)
    return tuple(values), tuple(min(one, GUESS_SD * 0.99) for one in spread)


def _step(ln_mm: float) -> float:
    """Growth of ln(carapace length) at a molt from there."""
    return log1p(gain(exp(ln_mm))[0])
