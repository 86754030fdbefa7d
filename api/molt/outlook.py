"""The molt outlook of a room: for each animal the chances and windows of its next molt, and what they rest on.

Overdue is never an alarm here: the longer an animal is past due, the likelier it molted unseen. Must not do: hide how
little is known.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from api.domain.errors import InputError
from api.domain.life import Life
from api.molt.chances import AHEAD_D, Curves, curves_of
from api.molt.clock import DAY_MS
from api.molt.intervals import Intervals, Kind, intervals_of
from api.molt.pace import learn
from api.molt.past import Past, past_of
from api.molt.species_table import group_of
from api.molt.warmth import Warmth
from api.science.arrays import Floats

DAYS = 21
"""Days ahead of which each has its own chance."""
ENOUGH_KNOWN = 0.8
SHARES = (0.1, 0.25, 0.5, 0.75, 0.9)
"""Of the chance: the ends of the windows of 80 and of 50 %, and the middle."""
Window = tuple[int | None, int | None]
"""From and to, in ms; None at the end: later than can be told."""


@dataclass(frozen=True, slots=True)
class Basis:
    """What an outlook rests on."""

    own_molts: int
    room_molts: int
    known_share: float
    days: float

    @property
    def words(self) -> str:
        """ "4 molts of this animal, 31 of its species here; temperature known for 97 % of the interval"."""
        return (
            f"{_molts(self.own_molts)} of this animal, {self.room_molts} of its species here;"
            f" temperature known for {100 * self.known_share:.0f} % of the interval"
        )


@dataclass(frozen=True, slots=True)
class MoltOutlook:
    """One animal's next molt as seen at a time.

    ``already`` is the chance that it molted since the last look; it is part of ``within_3d`` and so on, and of the
    windows, not of ``daily``. ``progress``: how far along the interval is, 1 = as long as it typically takes; None
    when nobody knows when it began. ``held``: berried, the clock stands still.
    """

    animal: int
    now_ms: int
    already: float
    within_3d: float
    within_7d: float
    within_14d: float
    daily: tuple[float, ...]
    middle_ms: int | None
    window_50: Window
    window_80: Window
    progress: float | None
    typical_degree_days: float
    held: bool
    basis: Basis
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class RoomOutlook:
    """All living animals' outlooks, in the order asked for.

    ``curves``: chance of having molted by scenario, animal and each of ``ahead_d`` days after the animal's last look
    ``from_ms``; ``weights`` are those of the scenarios, in each of which a whole species is early or late together.
    """

    now_ms: int
    outlooks: tuple[MoltOutlook, ...]
    species: tuple[str, ...]
    from_ms: NDArray[np.int64]
    weights: Floats
    ahead_d: Floats
    curves: Floats

    @property
    def molted(self) -> Floats:
        """Each animal's curve over all scenarios."""
        out: Floats = np.einsum("c,cng->ng", self.weights, self.curves)
        return out

    def between(self, edges_ms: Sequence[int]) -> Floats:
        """Chances of a molt between each two edges, by scenario, animal and step. [ms]

        Raises InputError for edges that do not rise.
        """
        edges = np.asarray(edges_ms, np.float64)
        if edges.size < 2 or not bool((np.diff(edges) > 0).all()):
            raise InputError("edges of days must rise")
        out = np.zeros((self.weights.size, len(self.outlooks), edges.size - 1))
        for at, from_ms in enumerate(self.from_ms):
            days = (edges - float(from_ms)) / DAY_MS
            for scenario in range(self.weights.size):
                out[scenario, at] = np.diff(np.interp(days, self.ahead_d, self.curves[scenario, at]))
        return out

    def of(self, animal: int) -> MoltOutlook | None:
        """One animal's outlook; None for one that is dead or was not asked for."""
        return next((one for one in self.outlooks if one.animal == animal), None)


def room_outlook(
    lives: Iterable[Life],
    water: Mapping[str, Warmth],
    now_ms: int,
    *,
    looked_ms: Mapping[int, int] | None = None,
    north: bool = True,
) -> RoomOutlook:
    """Outlooks of all living animals at a time, learned from the records of all, dead ones too.

    ``water`` by tank, as it was recorded until now; ``looked_ms`` by animal, the last look that would have seen a
    molt (none: now); ``north``: of the equator, for the winter of temperate species.
    Raises InputError for a time that is none of ours, or an animal given twice.
    """
    if not 0 <= now_ms < 8_000_000_000_000:
        raise InputError(f"{now_ms} is no time in whole milliseconds since 1970")
    seen = looked_ms or {}
    pasts = [past_of(life, now_ms, seen.get(life.id)) for life in lives]
    if len({past.life.id for past in pasts}) < len(pasts):
        raise InputError("an animal was given twice: give each once")
    rows = intervals_of(pasts, water, north)
    groups: dict[str, list[int]] = {}
    for number, past in enumerate(pasts):
        groups.setdefault(group_of(past.life.animal), []).append(number)
    found: dict[int, tuple[MoltOutlook, Floats]] = {}
    weights = np.ones(1)
    for members in groups.values():
        if not any(pasts[one].life.alive for one in members):
            continue
        curves, numbers = _group(pasts, rows, np.array(members), water, now_ms, north)
        weights = curves.weights
        molts = sum(len(pasts[one].moments) for one in members)
        now = rows.of(_rows_now(rows, numbers))
        for at, number in enumerate(numbers):
            found[int(number)] = _told(pasts[number], curves, at, now, molts, now_ms)
    order = sorted(found)
    return RoomOutlook(
        now_ms=now_ms,
        outlooks=tuple(found[number][0] for number in order),
        species=tuple(group_of(pasts[number].life.animal) for number in order),
        from_ms=np.array([pasts[number].looked_ms for number in order], np.int64),
        weights=weights,
        ahead_d=AHEAD_D,
        curves=np.stack([found[number][1] for number in order], axis=1) if order else np.zeros((1, 0, AHEAD_D.size)),
    )


def _rows_now(rows: Intervals, numbers: NDArray[np.intp]) -> NDArray[np.bool_]:
    """The intervals that some animals are in now."""
    return np.isin(rows.animal, numbers) & (rows.kind >= Kind.SINCE_MOLT)


def _group(
    pasts: Sequence[Past],
    rows: Intervals,
    members: NDArray[np.intp],
    water: Mapping[str, Warmth],
    now_ms: int,
    north: bool,
) -> tuple[Curves, NDArray[np.intp]]:
    """One species: learn from all its animals, look ahead for the living."""
    place = np.full(len(pasts), -1)
    place[members] = np.arange(members.size)
    mine = rows.of(np.isin(rows.animal, members))
    numbered = Intervals(place[mine.animal], *(getattr(mine, name) for name in Intervals.__slots__[1:]))
    pace = learn(numbered, members.size, pasts[int(members[0])].species)
    living = np.array([one for one in members if pasts[one].life.alive], np.intp)
    now = numbered.of(_rows_now(numbered, place[living]))
    return curves_of([pasts[one] for one in living], now, pace, water, now_ms, north), living


def _told(past: Past, curves: Curves, at: int, now: Intervals, molts: int, now_ms: int) -> tuple[MoltOutlook, Floats]:
    """One animal's outlook from its curve."""
    since_d = (now_ms - past.looked_ms) / DAY_MS
    curve = curves.weights @ curves.molted[:, at]
    to_day = np.interp(since_d + np.arange(DAYS + 1), AHEAD_D, curve)
    by = [float(to_day[days]) for days in (0, 3, 7, 14)]
    days = float(now.ran.days[at])
    known = min(1.0, float(now.ran.known_d[at]) / days) if days > 0.01 else 1.0
    ends = _when(curve, past.looked_ms)
    held = bool(past.holds) and past.holds[-1].until_ms is None
    warnings = list(past.warnings)
    if past.life.tank is None:
        warnings.append("in no tank we know of: its temperature is a guess, so the window is wide")
    elif known < ENOUGH_KNOWN:
        warnings.append(f"temperature known for {100 * known:.0f} % of the interval: the window is wider")
    if held:
        warnings.append("berried: the molt clock stands still until her young are off")
    outlook = MoltOutlook(
        animal=past.life.id,
        now_ms=now_ms,
        already=by[0],
        within_3d=by[1],
        within_7d=by[2],
        within_14d=by[3],
        daily=tuple(np.diff(to_day).tolist()),
        middle_ms=ends[2],
        window_50=(ends[1], ends[3]),
        window_80=(ends[0], ends[4]),
        progress=float(curves.age[at]) if past.moments else None,
        typical_degree_days=float(np.exp(curves.ln_k[at])),
        held=held,
        basis=Basis(len(past.moments), molts, known, days),
        warnings=tuple(dict.fromkeys(warnings)),
    )
    return outlook, curves.molted[:, at]


def _when(curve: Floats, from_ms: int) -> list[int | None]:
    """When each of SHARES of the chance is reached; None: later than the curve goes."""
    days = np.interp(SHARES, curve, AHEAD_D).tolist()
    return [
        from_ms + round(day * DAY_MS) if share <= curve[-1] else None for share, day in zip(SHARES, days, strict=True)
    ]


def _molts(count: int) -> str:
    return "1 molt" if count == 1 else f"{count} molts" if count else "no molt"
