"""``intermolt review``: are tanks fit for the molts of the days ahead; while the service runs or not.

Must not do: weigh (``api/services/review.py``).
"""

from __future__ import annotations

from argparse import Namespace
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from api.app import now_ms
from api.domain.errors import InputError
from api.export_command import moment_of
from api.service import DATABASE
from api.services.grace import Graces
from api.services.lives import Lives
from api.services.molts import Molts
from api.services.plan import RoomPlan
from api.services.records import Records
from api.services.review import DAY_MS, Review, RoomReview
from api.services.tank_warmth import TankWarmth
from api.settings import Settings
from api.storage.sqlite import SqliteStore

AHEAD_D = 21


@dataclass(frozen=True, slots=True)
class Reviewing:
    """What a review is made with."""

    review: Review
    plan: RoomPlan
    zone: ZoneInfo


@contextmanager
def open_review(mine: Settings) -> Iterator[Reviewing]:
    """The review of a data folder, for a short while.

    Raises InputError when nothing was ever kept there.
    """
    if not (mine.data / DATABASE).exists():
        raise InputError(f"there is no {mine.data / DATABASE}: nothing was ever kept here; name the folder with --data")
    store = SqliteStore(mine.data / DATABASE)
    try:
        plan, lives = Records(store).plan, Lives(store)
        molts = Molts(lives, TankWarmth(store, plan), now_ms)
        made = Review(store, plan, lives, molts, Graces(store, plan, now_ms))
        yield Reviewing(made, plan(), ZoneInfo(plan().room.zone))
    finally:
        store.close()


def review(mine: Settings, given: Namespace) -> int:
    """Print the review: 0 when every tank is fit, else 1.

    Raises InputError, NotFound for tanks or times that cannot be used.
    """
    with open_review(mine) as here:
        start_ms = moment_of(given.start, "--from", here.zone, 0) if given.start else now_ms()
        end_ms = moment_of(given.end, "--to", here.zone, 1) if given.end else start_ms + AHEAD_D * DAY_MS
        tanks = [name.strip() for text in given.tanks or [] for name in text.split(",") if name.strip()]
        made = here.review.review(tanks or None, start_ms, end_ms, now_ms())
        print("\n".join(lines(made, here.plan, here.zone)))
    return 0 if made.fit else 1


def lines(made: RoomReview, plan: RoomPlan, zone: ZoneInfo) -> list[str]:
    """A review as text."""
    out = [f"{plan.room.name}: review of {_day(made.start_ms, zone)} to {_day(made.end_ms - 1, zone)}"]
    for tank in made.tanks:
        out += ["", f"{made.names[tank.tank]} ({tank.tank}): {tank.verdict}"]
        out += [f"  {one.verdict:9}  {one.point}: {one.words}" for one in tank.findings]
    out += ["", "What to do by when:" if made.tasks else "Nothing is left to do."]
    out += [f"  by {_day(one.by_ms, zone)}  {made.names[one.tank]}: {one.words}" for one in made.tasks]
    out += ["", "Follow your site's rules, your animal-care approval and licensed trades."]
    return out


def _day(time_ms: int, zone: ZoneInfo) -> str:
    return f"{datetime.fromtimestamp(time_ms / 1000, zone):%Y-%m-%d}"
