"""``intermolt rehearse``: every alert recorded readings would have raised, and how other delays would have done.

Must not do: touch a database, or send anything.
"""

from __future__ import annotations

import json
import sys
from argparse import Namespace
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from tqdm import tqdm

from api.domain.alert import Event, Priority
from api.domain.errors import InputError
from api.import_text import answers_of, asked
from api.new_file import see_new, write_new
from api.rehearsal.rehearsed import reached_ms
from api.rehearsal.stepwise import Told
from api.rehearsal.whole import rehearsed
from api.room_text import read_room
from api.services.plan import RoomPlan
from api.services.recorded import Recorded, read_recorded
from api.services.recorded_logger import LeftOpen
from api.services.recording import Recording
from api.services.records import Records
from api.storage.in_memory import InMemoryStore

DELAYS_MIN = (2.0, 10.0)


def rehearse(room: Path, given: Namespace) -> int:
    """Rehearse, print and write: 0; 1 when rows were not taken, or questions are open.

    Raises InputError for files, delays or a room that cannot be used.
    """
    delays = _delays(given.delays)
    out = Path(given.out) if given.out else None
    if out is not None:
        see_new(out)
    plan = plan_of(room)
    for name in given.files:
        if not Path(name).exists():
            raise InputError(f"there is no file {name}")
    try:
        found = read_recorded([Path(name) for name in given.files], answers_of(given.answer or []))
    except LeftOpen as error:
        print(f"{error}")
        for question in error.questions:
            print("\n".join(asked(question)))
        print("\nNothing was rehearsed. Answer what is asked, and give the same command again.")
        return 1
    spoken = {one.probe for one in found.recorded}
    unknown = sorted(spoken - plan.probes.keys())
    if len(unknown) == len(spoken):
        raise InputError(f"no probe of {room} is in these files; theirs are {', '.join(unknown[:10])}")
    silent = sorted(plan.probes.keys() - spoken)
    plan = replace(plan, probes={name: one for name, one in plan.probes.items() if name in spoken}, _channels={})
    told = run(plan, found.recorded, "as the room file says")
    print("\n".join(_lines(plan, told, found, unknown)))
    if silent:
        print(f"probes of the room without a reading here, left out: {', '.join(silent)}")
    for minutes in delays:
        other = run(_delayed(plan, minutes), found.recorded, f"with {minutes:g} min")
        print(f"with a {minutes:g}-minute delay: {_count(other)}")
    if out is not None:
        write_new(out, "".join(json.dumps(body(one), ensure_ascii=False) + "\n" for one in told))
    return 1 if found.refusals else 0


def plan_of(room: Path) -> RoomPlan:
    """The plan of a room file, nothing else known.

    Raises InputError where the file cannot be used.
    """
    if not room.exists():
        raise InputError(f"there is no {room}; name the room file with --room")
    with closing(InMemoryStore()) as store:
        records = Records(store)
        records.apply(read_room(room), 0)
        return records.plan()


def run(plan: RoomPlan, recorded: Sequence[Recording], what: str) -> list[Told]:
    """Everything told; readings arrive at their own time, and the clock stops with the last of them."""
    total = sum(len(one.times_ms) for one in recorded)
    with tqdm(total=total, desc=f"rehearsing {what}", file=sys.stderr, unit=" readings", leave=False) as bar:
        return rehearsed(plan, recorded, max(int(one.times_ms[-1]) for one in recorded), bar.update)


def _delays(text: str | None) -> tuple[float, ...]:
    if text is None:
        return DELAYS_MIN
    try:
        found = tuple(float(part) for part in text.split(",") if part.strip())
    except ValueError:
        raise InputError(f"--delays {text[:40]!r}: give minutes such as 2,10") from None
    if any(not 0 <= one <= 1440 for one in found):
        raise InputError(f"--delays {text[:40]!r}: a delay lies between 0 and 1440 minutes")
    return found


def _delayed(plan: RoomPlan, minutes: float) -> RoomPlan:
    """The same room with another delay before an alert outside the tolerable band."""
    care = {
        name: replace(profile, ranges=tuple(replace(one, on_delay_s=60.0 * minutes) for one in profile.ranges))
        for name, profile in plan.care.items()
    }
    return replace(plan, care=care, _channels={})


def _count(told: Sequence[Told]) -> str:
    raised = [one for one in told if one.event in (Event.RAISED, Event.FOUND_LATE)]
    urgent = sum(one.event is not Event.CLEARED and one.priority is Priority.URGENT for one in told)
    return f"{len(raised)} alert{'' if len(raised) == 1 else 's'}, {urgent} times urgent"


def _lines(plan: RoomPlan, told: Sequence[Told], found: Recorded, unknown: Sequence[str]) -> Iterator[str]:
    zone = ZoneInfo(plan.room.zone)
    first, last = found.span_ms
    yield f"{found.count} readings, {_local(first, zone)} to {_local(last, zone)} ({plan.room.zone})"
    for name, line, why in found.refused:
        yield f"{name}, line {line}: not taken: {why}"
    if found.refusals > len(found.refused):
        yield f"{found.refusals - len(found.refused)} more rows were not taken"
    if unknown:
        yield f"probes the room file does not know, kept and not judged: {', '.join(unknown)}"
    for one in told:
        place = plan.tanks[one.tank].name if one.tank in plan.tanks else (one.tank or plan.room.name)
        yield f"{_local(one.time_ms, zone)}  {one.event:10}  {one.priority:6}  {place}: {one.text}"
        reached = reached_ms(one, plan)
        if reached - one.time_ms >= 60_000:
            yield f"{'':16}  reaches the phone {_local(reached, zone)}"
    kinds = Counter(str(one.kind).replace("_", " ") for one in told if one.event in (Event.RAISED, Event.FOUND_LATE))
    yield f"as the room file says: {_count(told)}" + "".join(f"; {kind} {count}" for kind, count in kinds.most_common())


def _local(time_ms: int, zone: ZoneInfo) -> str:
    return f"{datetime.fromtimestamp(time_ms / 1000, zone):%Y-%m-%d %H:%M}"


def body(told: Told) -> dict[str, Any]:
    """A told alert as one JSON object."""
    moment = datetime.fromtimestamp(told.time_ms / 1000, UTC)
    return {
        "time": moment.isoformat(timespec="milliseconds").replace("+00:00", "Z"),
        "tank": told.tank,
        "kind": str(told.kind),
        "priority": str(told.priority),
        "event": str(told.event),
        "value": told.value,
        "limit": told.limit,
        "text": told.text,
    }
