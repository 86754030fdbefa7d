"""Rehearsals for the pages: one at a time, in a process of its own that can be stopped, so that live readings wait
for none. Must not do: rehearse in the service's own process, or keep results for long.
"""

from __future__ import annotations

import json
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter

from api.domain.errors import InputError, NotFound
from api.services.plan import RoomPlan
from api.services.rehearsing import MOST_MS, RUN_UP_MS, Rehearsed, Rehearsing, Wanted, moved, narrowed
from api.storage.base import Store

MOST_READINGS = 1_200_000
"""A year of a tank with two probes that speak every minute."""
LONGEST_S = 900.0
KEPT = 6
NOW_KNOWN_S = 1800.0
"""How long what the settings of now lead to is known; late readings may come in meanwhile. [s]"""
ALERTS = TypeAdapter(tuple[Rehearsed, ...])


class RehearsalDesk:
    """Begins, shows and stops rehearsals."""

    def __init__(self, store: Store, plan: Callable[[], RoomPlan], database: Path, now_ms: Callable[[], int]) -> None:
        self._store, self._plan, self._database, self._now_ms = store, plan, database, now_ms
        self._lock = threading.Lock()
        self._kept: dict[int, Rehearsing] = {}
        self._last = 0
        self._process: subprocess.Popen[str] | None = None
        self._now: tuple[object, float, tuple[Rehearsed, ...]] | None = None

    def begin(self, wanted: Wanted) -> int:
        """Begin one; its number.

        Raises InputError when it cannot be, is too long, or another is at work; NotFound.
        """
        wanted = replace(wanted, end_ms=min(wanted.end_ms, self._now_ms()))
        plan = self._plan()
        own = narrowed(plan, wanted.tanks)
        moved(own, wanted.quantity, wanted.numbers)
        self._check(wanted, own)
        with self._lock:
            busy = next((one for one in self._kept.values() if not one.over), None)
            if busy is not None:
                raise InputError(
                    f"another rehearsal is at work ({100 * busy.share:.0f} % done); stop it, or wait for its end"
                )
            self._last += 1
            self._kept[self._last] = Rehearsing(self._last, wanted)
            for number in list(self._kept)[:-KEPT]:
                del self._kept[number]
            self._start(self._last, wanted, plan)
            return self._last

    def _check(self, wanted: Wanted, plan: RoomPlan) -> None:
        if wanted.start_ms >= wanted.end_ms:
            raise InputError("the first time must lie before the second, and in the past")
        if wanted.end_ms - wanted.start_ms > MOST_MS:
            raise InputError("that is longer than a year; choose a shorter time")
        total = 0
        for one in self._store.readings.channels():
            if one.probe in plan.probes and not one.derived:
                span = (wanted.start_ms - RUN_UP_MS, wanted.end_ms)
                total += self._store.readings.count(one.probe, one.quantity, *span, MOST_READINGS + 1)
        if total > MOST_READINGS:
            raise InputError(
                f"these tanks have more than {MOST_READINGS:,} readings in that time (with the 27 hours before it);"
                " choose a shorter time or fewer tanks"
            )
        if not total:
            raise InputError("these tanks have no readings in that time; choose another")

    def _start(self, number: int, wanted: Wanted, plan: RoomPlan) -> None:
        key = (wanted.tanks, wanted.start_ms, wanted.end_ms, plan)
        known = self._now is not None and self._now[0] == key and time.monotonic() - self._now[1] < NOW_KNOWN_S
        asked = {
            "database": str(self._database), "tanks": wanted.tanks, "start_ms": wanted.start_ms,
            "end_ms": wanted.end_ms, "quantity": str(wanted.quantity), "numbers": dict(wanted.numbers),
            "soft": sorted(plan.soft), "stages": {tank: sorted(stages) for tank, stages in plan.stages.items()},
            "now_known": known,
        }  # fmt: skip
        process = subprocess.Popen(
            [sys.executable, "-m", "api.rehearsal.child"], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        self._process = process
        follow = threading.Thread(target=self._follow, args=(number, process, asked, key), daemon=True)
        follow.start()

    def _follow(self, number: int, process: subprocess.Popen[str], asked: dict[str, Any], key: object) -> None:
        """Hear what the process says until it ends."""
        begun_s = time.monotonic()
        limit = threading.Timer(LONGEST_S, process.kill)
        limit.start()
        said: dict[str, Any] = {}
        try:
            if process.stdin is not None and process.stdout is not None:
                process.stdin.write(json.dumps(asked) + "\n")
                process.stdin.flush()
                for line in process.stdout:
                    said = json.loads(line)
                    if "share" in said:
                        self._put(number, share=said["share"])
        except (OSError, ValueError) as error:
            said = {"error": f"the rehearsal broke off: {error}"}
        finally:
            limit.cancel()
            process.kill()
            process.communicate()
            self._end(number, said, key, time.monotonic() - begun_s)

    def _end(self, number: int, said: dict[str, Any], key: object, seconds: float) -> None:
        if "moved" not in said:
            late = f"it was not done after {LONGEST_S / 60:.0f} minutes; choose a shorter time"
            why = said.get("error") or (late if seconds >= LONGEST_S else "it ended without a result")
            self._put(number, over=True, error=why, seconds=seconds)
            return
        if "now" in said:
            self._now = (key, time.monotonic(), ALERTS.validate_python(said["now"]))
        now = self._now[2] if self._now is not None else ()
        found = ALERTS.validate_python(said["moved"])
        self._put(
            number, over=True, share=1.0, now=now, moved=found, readings=said["readings"], seconds=seconds
        )  # fmt: skip

    def _put(self, number: int, **change: Any) -> None:
        with self._lock:
            before = self._kept.get(number)
            if before is not None and not before.over:
                self._kept[number] = replace(before, **change)

    def one(self, number: int) -> Rehearsing:
        """How far it is, or what came of it. Raises NotFound."""
        with self._lock:
            found = self._kept.get(number)
        if found is None:
            raise NotFound("this rehearsal is no longer kept; begin it again")
        return found

    def stop(self, number: int) -> None:
        """Give one up; one that is over stays as it is. Raises NotFound."""
        if not self.one(number).over:
            self._put(number, over=True, error="it was stopped")
            self._kill()

    def at_work(self) -> Rehearsing | None:
        """The one that has not ended."""
        with self._lock:
            return next((one for one in self._kept.values() if not one.over), None)

    def close(self) -> None:
        """End what is at work."""
        self._kill()

    def _kill(self) -> None:
        if self._process is not None and self._process.poll() is None:
            self._process.kill()
