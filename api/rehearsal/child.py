"""``python -m api.rehearsal.child``: one rehearsal of kept readings in a process of its own, beside the live line.

One line of JSON in, lines of JSON out: the share done, then what came of it. It ends when its standard input does.
Must not do: write to the database.
"""

from __future__ import annotations

import json
import os
import sys
import threading
from collections.abc import Callable, Mapping
from contextlib import closing
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from api.domain.errors import IntermoltError
from api.domain.quantity import Quantity
from api.rehearsal.rehearsed import stood
from api.rehearsal.whole import rehearsed
from api.services.plan import RoomPlan
from api.services.recording import Recording
from api.services.records import Records
from api.services.rehearsing import RUN_UP_MS, Rehearsed, moved, narrowed
from api.storage.base import Store
from api.storage.sqlite import SqliteStore

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
    recorded = kept(store, plan, start_ms - RUN_UP_MS, end_ms)
    total, gone = sum(len(one.times_ms) for one in recorded), 0

    def done(count: int) -> None:
        nonlocal gone
        gone += count
        share(gone / total)

    return stood(rehearsed(plan, recorded, end_ms, done), plan, start_ms), total


def kept(store: Store, plan: RoomPlan, start_ms: int, end_ms: int) -> list[Recording]:
    """What a room's probes said, as it is kept."""
    out = []
    for place, one in enumerate(store.readings.channels()):
        if one.probe in plan.probes and not one.derived:
            rows = store.past.kept(one.probe, one.quantity, start_ms, end_ms)
            places = np.full(len(rows.times_ms), place, np.int64)
            if len(places):
                out.append(Recording(one.probe, one.quantity, rows.times_ms, rows.raws, rows.units, places))
    return out


def _say(what: Mapping[str, Any]) -> None:
    print(json.dumps(what), flush=True)


def _end_with_parent() -> None:
    sys.stdin.read()
    os._exit(1)


if __name__ == "__main__":
    sys.exit(main())
