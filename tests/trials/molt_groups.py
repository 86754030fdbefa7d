"""How well clusters of molts are called: groups of animals, what was called in them, and what came.

Must not do: count a second molt of an animal; a forecast speaks of its next one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from api.molt.clusters import ClusterSettings, clusters, day_counts
from api.molt.outlook import DAYS, RoomOutlook
from tests.trials.molt_notes import DAY_MS, START_MS
from tests.trials.molt_record import Crayfish

GROUP = 12
SETTINGS = (
    ClusterSettings(),
    ClusterSettings(days=4, chance=0.5),
    ClusterSettings(days=5, chance=0.3),
    ClusterSettings(days=7, chance=0.5),
    ClusterSettings(days=7, chance=0.35),
)
"""The first is the one in use."""


@dataclass(frozen=True, slots=True)
class Called:
    """One called cluster: its chance, the number that came, whether it was one, whether the interval held."""

    chance: float
    came: bool
    nearly: bool
    held: bool


@dataclass(frozen=True, slots=True)
class Group:
    """One group at one time and setting: clusters called, whether there was one, whether a call met it, days whose
    counts held."""

    settings: ClusterSettings
    called: tuple[Called, ...]
    was: bool
    met: bool
    days_held: int


def groups(now_d: float, room: RoomOutlook, here: list[Crayfish], rng: np.random.Generator) -> list[Group]:
    """Groups of a colony's animals, each animal in one of them at most."""
    if len(here) < GROUP:
        return []
    order = rng.permutation(len(here))
    return [
        _group(room, here, now_d, [int(at) for at in order[start : start + GROUP]], settings)
        for start in range(0, len(here) - GROUP + 1, GROUP)
        for settings in SETTINGS
    ]


def _group(
    room: RoomOutlook, here: list[Crayfish], now_d: float, members: list[int], settings: ClusterSettings
) -> Group:
    came_d = []
    for at in members:
        look_d = (int(room.from_ms[at]) - START_MS) / DAY_MS
        later = here[at].molts_d[here[at].molts_d > look_d]
        came_d.append(float(later[0]) - now_d if later.size else np.inf)
    came = np.array(came_d)
    animals = [here[at].number for at in members]
    number = settings.number(len(members))
    per_day = np.array([((came >= day) & (came < day + 1)).sum() for day in range(DAYS)])
    windows = [per_day[day : day + settings.days].sum() >= number for day in range(DAYS - settings.days + 1)]
    called, met = [], False
    for one in clusters(room, animals, settings):
        start = round((one.start_ms - room.now_ms) / DAY_MS)
        inside = int(per_day[start : start + settings.days].sum())
        nearly = int(per_day[max(0, start - 1) : start + settings.days + 1].sum())
        called.append(Called(one.chance, inside >= number, nearly >= number, one.low <= inside <= one.high))
        met = met or any(windows[max(0, start - settings.days + 1) : start + settings.days])
    counts = day_counts(room, animals)
    held = sum(one.low <= came_then <= one.high for one, came_then in zip(counts, per_day, strict=True))
    return Group(settings, tuple(called), any(windows), met, held)
