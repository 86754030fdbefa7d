"""``intermolt review``: are tanks fit for the molts of the days ahead; while the service runs or not.

Must not do: weigh (``api/services/review.py``).
"""

from __future__ import annotations

import json
from argparse import Namespace
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from api.app import now_ms
from api.domain.errors import InputError
from api.kept_store import kept_store
from api.moments import moment_of
from api.new_file import write_new
from api.services.grace import Graces
from api.services.lives import Lives
from api.services.molts import Molts
from api.services.plan import RoomPlan
from api.services.records import Records
from api.services.report import Report, Reports
from api.services.report_words import body, csv_text, named, text_lines
from api.services.review import DAY_MS, Review, RoomReview
from api.services.tank_warmth import TankWarmth
from api.settings import Settings

AHEAD_D = 21


@dataclass(frozen=True, slots=True)
class Reviewing:
    """What a review is made with."""

    review: Review
    reports: Reports
    plan: RoomPlan
    zone: ZoneInfo


@contextmanager
def open_review(mine: Settings) -> Iterator[Reviewing]:
    """The review of a data folder, for a short while.

    Raises InputError when nothing was ever kept there.
    """
    with kept_store(mine.data) as store:
        plan, lives = Records(store).plan, Lives(store)
        molts = Molts(lives, TankWarmth(store, plan), now_ms)
        made = Review(store, plan, lives, molts, Graces(store, plan, now_ms))
        yield Reviewing(made, Reports(store, plan), plan(), ZoneInfo(plan().room.zone))


def review(mine: Settings, given: Namespace) -> int:
    """Print the review: 0 when every tank is fit, else 1.

    Raises InputError, NotFound for tanks or times that cannot be used.
    """
    if given.report:
        return conditions(mine, given)
    if given.out:
        raise InputError("--out goes with --report; a review is printed: write '> FILE' behind the command to keep it")
    with open_review(mine) as here:
        start_ms = moment_of(given.start, "--from", here.zone, 0) if given.start else now_ms()
        end_ms = moment_of(given.end, "--to", here.zone, 1) if given.end else start_ms + AHEAD_D * DAY_MS
        made = here.review.review(asked_tanks(given) or None, start_ms, end_ms, now_ms())
        print("\n".join(lines(made, here.plan, here.zone)))
    return 0 if made.fit else 1


def conditions(mine: Settings, given: Namespace) -> int:
    """Print, or write as ``--out`` ends, the conditions report of a time that is over: 0.

    Raises InputError, NotFound for tanks, times or files that cannot be used.
    """
    with open_review(mine) as here:
        end_ms = moment_of(given.end, "--to", here.zone, 1) if given.end else now_ms()
        start_ms = moment_of(given.start, "--from", here.zone, 0) if given.start else end_ms - 14 * DAY_MS
        made = here.reports.report(asked_tanks(given) or None, start_ms, end_ms, now_ms())
    if given.out:
        write_report(Path(given.out), made)
    else:
        print(f"{made.room}: conditions from {_day(start_ms, here.zone)} to {_day(end_ms - 1, here.zone)}")
        print("\n".join(text_lines(made)))
    return 0


def write_report(out: Path, made: Report) -> None:
    """The report as .csv or .json.

    Raises InputError for a file that is there, has another ending, or cannot be written.
    """
    if out.suffix not in (".csv", ".json"):
        raise InputError(f"--out {out}: the file's name ends with .csv or .json")
    text = csv_text(made) if out.suffix == ".csv" else json.dumps(body(made), indent=1, ensure_ascii=False) + "\n"
    write_new(out, text)
    print(f"{out}: conditions of {len(made.tanks)} {'tank' if len(made.tanks) == 1 else 'tanks'}")


def asked_tanks(given: Namespace) -> list[str]:
    """Tanks as they are given, several times or with commas between."""
    return [name.strip() for text in given.tanks or [] for name in text.split(",") if name.strip()]


def lines(made: RoomReview, plan: RoomPlan, zone: ZoneInfo) -> list[str]:
    """A review as text."""
    out = [f"{plan.room.name}: review of {_day(made.start_ms, zone)} to {_day(made.end_ms - 1, zone)}"]
    for tank in made.tanks:
        out += ["", f"{named(plan.tanks[tank.tank])}: {tank.verdict}"]
        out += [f"  {one.verdict:9}  {one.point}: {one.words}" for one in tank.findings]
    out += ["", "What to do by when:" if made.tasks else "Nothing is left to do."]
    out += [f"  by {_day(one.by_ms, zone)}  {made.names[one.tank]}: {one.words}" for one in made.tasks]
    out += ["", "Follow your site's rules, your animal-care approval and licensed trades."]
    return out


def _day(time_ms: int, zone: ZoneInfo) -> str:
    return f"{datetime.fromtimestamp(time_ms / 1000, zone):%Y-%m-%d}"
