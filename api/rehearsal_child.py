"""``python -m api.rehearsal_child``: one rehearsal of kept readings in a process of its own, beside the live line.

One line of JSON in, lines of JSON out: the share done, then what came of it. It ends when its standard input does.
Must not do: write to the database.
"""

from __future__ import annotations

import json
import os
import sys
import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import closing
from dataclasses import asdict
from itertools import groupby
from pathlib import Path
from typing import Any

from api.domain.errors import InputError, IntermoltError
from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from api.rehearsal import Rehearsal
from api.rehearsed import stood
from api.services.plan import RoomPlan
from api.services.records import Records
from api.services.rehearsing import RUN_UP_MS, Rehearsed, moved, narrowed
from api.storage.base import Store
from api.storage.sqlite import SqliteStore

WINDOW_MS = 6 * 3_600_000
NICE = 10
Say = Callable[[Mapping[str, Any]], None]


def main() -> int:
    """Read what is wanted, rehearse, say what came of it."""
    os.nice(NICE)
    asked = json.loads(sys.stdin.readline())
    threading.Thread(target=_end_with_parent, daemon=True).start()
    try:
        with closing(SqliteStore(Path(asked["database"]))) as store:
            rehearse(store, asked, _say)
    except IntermoltError as error:
        _say({"error": str(error)})
    return 0


def rehearse(store: Store, asked: Mapping[str, Any], say: Say) -> None:
    """Both settings one after the other, or the moved ones alone where the others are known."""
    records = Records(store)
    records.put_stages(frozenset(asked["soft"]), {tank: frozenset(stages) for tank, stages in asked["stages"].items()})
    plan = narrowed(records.plan(), asked["tanks"])
    other = moved(plan, Quantity(asked["quantity"]), asked["numbers"])
    runs = [("moved", other)] if asked["now_known"] else [("now", plan), ("moved", other)]
    found: dict[str, Any] = {}
    for at, (name, one) in enumerate(runs):

        def share(part: float, at: int = at) -> None:
            say({"share": (at + part) / len(runs)})

        alerts, readings = _run(store, one, asked["start_ms"], asked["end_ms"], share)
        found |= {name: [asdict(alert) for alert in alerts], "readings": readings}
    say(found)


def _run(
    store: Store, plan: RoomPlan, start_ms: int, end_ms: int, share: Callable[[float], None]
) -> tuple[list[Rehearsed], int]:
    told, count = [], 0
    one: Rehearsal | None = None
    try:
        for time_ms, pack in packs(store, plan, start_ms - RUN_UP_MS, end_ms, share):
            one = one or Rehearsal(plan, time_ms - 1)
            told += one.take(pack, time_ms)
            count += len(pack)
        if one is not None:
            told += one.advance(end_ms)
    finally:
        if one is not None:
            one.close()
    return stood(told, plan, start_ms), count


def packs(
    store: Store, plan: RoomPlan, start_ms: int, end_ms: int, share: Callable[[float], None]
) -> Iterator[tuple[int, list[RawReading]]]:
    """Kept raw readings of a room's probes as they were made: (time, all of that time), a window at a time."""
    channels = [one for one in store.readings.channels() if one.probe in plan.probes and not one.derived]
    for from_ms in range(start_ms, end_ms, WINDOW_MS):
        until_ms = min(from_ms + WINDOW_MS, end_ms)
        readings: list[RawReading] = []
        for one in channels:
            for row in store.revisions.rows(one.probe, one.quantity, from_ms, until_ms):
                try:
                    readings.append(RawReading(one.probe, one.quantity, row.time_ms, row.raw_value, row.raw_unit))
                except InputError:
                    continue  # kept by an older version that refused less; live it would be refused today
        readings.sort(key=_when)
        for time_ms, pack in groupby(readings, key=_when):
            yield time_ms, list(pack)
        share((until_ms - start_ms) / (end_ms - start_ms))


def _when(one: RawReading) -> int:
    return one.time_ms


def _say(what: Mapping[str, Any]) -> None:
    print(json.dumps(what), flush=True)


def _end_with_parent() -> None:
    sys.stdin.read()
    os._exit(1)


if __name__ == "__main__":
    sys.exit(main())
