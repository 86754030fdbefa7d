"""What a tank's forecast remembers, as records side by side: a layout for each class, and both ways between them.

A record has a field for each attribute of its class that the calm run reads or changes. Must not do: judge.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from api.judge.calm_run import Memory, Rows
from api.judge.channel_watch import HOURS_KEPT, ChannelWatch
from api.judge.fall_shape import KEPT as LEVELS_KEPT
from api.judge.fall_shape import QUARTERS, FallShape
from api.judge.first_order import Approach, Nature
from api.judge.natures import NATURES
from api.judge.oxygen_past import OxygenPast
from api.judge.slow_fall import KEPT as CELLS_KEPT
from api.judge.slow_fall import LENGTHS, PAST, SlowFall
from api.judge.standstill import BINS, FOLLOWED, Habit, Standstill

Layout = np.dtype[np.void]
RATES = max(len(one.rates_per_h) for one in NATURES.values())
CONSTANT = {"_nature", "spiked_ms", "per_mg_l"}
"""Not changed by a calm run."""


def _layout(**fields: str) -> Layout:
    """Fields by their kind: ``kind="name name"``; underscores of a name's beginning belong to it."""
    kinds: dict[str, Any] = {"real": np.float64, "whole": np.int64, "truth": np.bool_}
    return np.dtype([(name, kinds[kind]) for kind, names in fields.items() for name in names.split()], align=True)


def _joined(*parts: Layout | tuple[Any, ...]) -> Layout:
    """Fields one after the other."""
    fields: list[Any] = []
    for part in parts:
        if isinstance(part, tuple):
            fields.append(part)
        else:
            fields += [(name, part[name]) for name in part.names or ()]
    return np.dtype(fields, align=True)


NATURE = _joined(
    _layout(real="slope wander surge step least_per_h floor"),
    ("rates_per_h", np.float64, (RATES,)),
    ("shares", np.float64, (RATES,)),
)
APPROACH = _joined(
    _layout(
        real="_down _drift _half_wander _hours _surge _up _wander level slope slope_sd",
        whole="_down_ms _rates _up_ms looks since_ms time_ms",
        truth="steady",
    ),
    ("_odds", np.float64, (RATES,)),
    ("weights", np.float64, (RATES,)),
    ("_states", np.float64, (RATES, 5)),
    ("_ways", np.float64, (RATES, 4)),
    ("_nature", NATURE),
)
WATCH = _joined(
    _layout(
        real="_floor _grain _held _last _longest _peak _same_odds _sum _sum_ms _was every_ms jump_from noise2"
        " usual_high usual_low",
        whole="_count _first_ms _held_ms _last_ms _same _usual_h away_ms disturbed_ms jump_ms same_since_ms spiked_ms",
        truth="_was_known usual_known",
    ),
    ("_band", np.float64, (HOURS_KEPT, 3)),
    ("_nature", NATURE),
    ("approach", APPROACH),
)
HABIT = _joined(
    _layout(real="last", whole="same last_ms since_ms"),
    ("stays", np.float64, (BINS,)),
    ("goes", np.float64, (BINS,)),
)
STILL = _joined(
    _layout(real="_longest_ms", whole="_begun_ms _moment_ms _moved_ms _run"),
    ("_habits", HABIT, (FOLLOWED,)),
    ("_together", HABIT),
)
SHAPE = _joined(
    _layout(whole="_fell _next _kept_ms"),
    ("_steepest", np.float64, (QUARTERS, 2)),
    ("_levels", np.float64, (LEVELS_KEPT, 2)),
)
SLOW = _joined(
    _layout(
        real="_heat _oxygen _fallen_mg_l _slope _usual_mg_l", whole="_cell _count _kept _next _since_ms", truth="falls"
    ),
    ("_cells", np.float64, (CELLS_KEPT, 3)),
    ("_before", np.float64, (PAST,)),
    ("_part", np.float64, (LENGTHS[-1],)),
)
PAST_OF_OXYGEN = _joined(_layout(real="per_mg_l"), ("shape", SHAPE), ("slow", SLOW))
LINE = _joined(
    _layout(
        real="tolerable_low tolerable_high coolest_per_h beyond departs",
        whole="place probe tank heat",
        truth="ready followed derived oxygen cared warms",
    ),
    ("watch", WATCH),
    ("past", PAST_OF_OXYGEN),
)
"""A channel. ``place``: see ``standstill.py``; ``heat``: number of the temperature beside it, -1 where it has none."""
TANK = _layout(whole="heat oxygen looked_ms")
CLASSES: dict[Layout, type] = {
    NATURE: Nature, APPROACH: Approach, WATCH: ChannelWatch, HABIT: Habit, STILL: Standstill, SHAPE: FallShape,
    SLOW: SlowFall, PAST_OF_OXYGEN: OxygenPast,
}  # fmt: skip


def memory(lines: int, probes: int, tanks: int) -> Memory:
    """Empty records for so many channels, probes and tanks."""
    return Memory(
        np.zeros(lines, LINE), np.zeros(probes, STILL), np.zeros(tanks, TANK),
        np.full((probes, lines), -1), np.full((tanks, lines), -1), np.full(lines, -1), np.zeros(lines, np.int64),
        np.zeros(1, np.int64),
    )  # fmt: skip


def no_rows() -> Rows:
    """Rows of the kinds a calm run takes."""
    return Rows(np.zeros(0, np.int64), np.zeros(0, np.int64), np.zeros(0), np.zeros(0, np.bool_), np.zeros(0, np.bool_))


def put(record: Any, layout: Layout, one: object) -> None:
    """Write what an object remembers into its record."""
    for name in layout.names or ():
        kind, value = layout[name], getattr(one, name)
        if kind.subdtype is None:
            if kind.names is None:
                record[name] = value
            else:
                put(record[name], kind, value)
        elif kind.subdtype[0].names is not None:
            for place, part in enumerate(value):
                put(record[name][place], kind.subdtype[0], part)
        else:
            record[name][: len(value)] = value


def take_back(record: Any, layout: Layout, one: object) -> None:
    """Let an object remember what its record says now."""
    for name in layout.names or ():
        if name in CONSTANT:
            continue
        kind, said = layout[name], record[name]
        if kind.subdtype is None:
            if kind.names is None:
                setattr(one, name, said.item())
            else:
                take_back(said, kind, getattr(one, name))
        elif kind.subdtype[0].names is not None:
            for place, part in enumerate(getattr(one, name)):
                take_back(said[place], kind.subdtype[0], part)
        else:
            setattr(one, name, said[: len(getattr(one, name))].tolist())
