"""All probes of one room on one thread, as a bench of instruments, and what they have said.

Must not do: know a database.
"""

from __future__ import annotations

import select
import threading
import time
from pathlib import Path
from types import TracebackType

from tests.trials.crash_probes import Asked, Fate, Probe, Remembering, Saying, Speaking

KINDS: tuple[type[Probe], ...] = (Remembering, Asked, Speaking, Remembering, Asked, Speaking, Remembering, Asked)
LOOK_S = 0.01
HELD_UP_S = 0.5
"""When the bench itself had no turn for so long, an answer it gives may come too late."""


class Bench:
    """Eight probes. Use as a context; ``begin_s`` is when the trial's own clock stood at zero."""

    def __init__(self, folder: Path, begin_s: float) -> None:
        folder.mkdir(parents=True)
        self._begin_s = begin_s
        self.probes = [kind(f"p{number}", folder / f"p{number}") for number, kind in enumerate(KINDS)]
        self._lock, self._stop = threading.Lock(), threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)

    def tables(self) -> str:
        """The probes' part of the room file."""
        return "".join(probe.table() for probe in self.probes)

    def _now_s(self) -> float:
        return time.monotonic() - self._begin_s

    def _run(self) -> None:
        poll = select.poll()
        for probe in self.probes:
            poll.register(probe.fd, select.POLLIN)
        last_s = self._now_s()
        while not self._stop.wait(LOOK_S):
            with self._lock:
                gone = {fd for fd, event in poll.poll(0) if event & select.POLLHUP}
                now_s = self._now_s()
                for probe in self.probes:
                    probe.turn(probe.fd not in gone, now_s, now_s - last_s > HELD_UP_S)
                last_s = now_s

    def gone(self, memory_since_s: float | None) -> None:
        """The collector has died. What it had only in memory since then, because its disk was full, died with it."""
        with self._lock:
            for probe in self.probes:
                probe.gone(self._now_s())
                if memory_since_s is None or isinstance(probe, Remembering):
                    continue
                for saying in probe.said.values():
                    if saying.at_s >= memory_since_s and saying.fate is Fate.SENT:
                        saying.fate = Fate.MEMORY

    def rest(self) -> None:
        """No new numbers."""
        with self._lock:
            for probe in self.probes:
                probe.rest(self._now_s())

    def said(self) -> dict[tuple[str, int], Saying]:
        """Every number so far, by probe."""
        with self._lock:
            return {
                (probe.id, number): Saying(saying.at_s, saying.fate)
                for probe in self.probes
                for number, saying in probe.said.items()
            }

    def __enter__(self) -> Bench:
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._stop.set()
        self._thread.join()
        for probe in self.probes:
            probe.close()
