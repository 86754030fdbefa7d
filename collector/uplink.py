"""Takes readings from the spool to the service, for ever, and lets go of them only when it has them.

What came just now goes first, then the oldest, so that a backlog never hides the present.
Must not do: drop a reading, or hold one anywhere but in the spool.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from api.domain.reading import RawReading
from collector.backoff import Backoff
from collector.errors import PackRefused, PackTooLarge, ServiceTrouble, SpoolTrouble, Stopped
from collector.pulse import Pulse
from collector.service import Answer, Upstream
from collector.spool import Spool
from collector.spoolfile import Refusal, Row
from collector.stock import Taken

LINGER_S = 0.5
GROW_AFTER = 20
POST_S = 300.0
"""The longest that many packs through a slow broker may take. [s]"""
BRISK_S, SLUGGISH_S = 0.3, 0.7
"""A round quicker than the first takes more of a backlog next time, one slower than the second less: between two rounds
the newest readings get their turn. [s]"""


@dataclass
class Delivered:
    """What the service has taken since the start."""

    accepted: int = 0
    duplicate: int = 0
    refused: int = 0
    last_refused: str = ""

    @property
    def done(self) -> int:
        """Readings that have left the spool."""
        return self.accepted + self.duplicate + self.refused


class Uplink:
    """One thread that empties the spool into the service.

    ``patient``: readings the service will have later stay in the spool; else they are set aside as refused.
    """

    def __init__(
        self,
        spool: Spool,
        service: Upstream,
        stop: threading.Event,
        pack_size: int = 200,
        linger_s: float = LINGER_S,
        say: Callable[[str], None] = lambda text: None,
        backoff: Backoff | None = None,
        patient: bool = True,
    ) -> None:
        self._spool, self._service, self._stop, self._say = spool, service, stop, say
        self._full = self.pack_size = pack_size
        self._linger_s, self._patient = linger_s, patient
        self._backoff = backoff or Backoff()
        self._packs = 1
        self._good = 0
        self._proven = False
        self.delivered = Delivered()
        self.trouble = ""
        self.pulse = Pulse()
        self._thread = threading.Thread(target=self._run, name="uplink", daemon=True)

    def start(self) -> None:
        """Begin sending."""
        self._thread.start()

    def join(self, timeout_s: float) -> bool:
        """Wait for the end after ``stop`` was set; whether it came."""
        self._thread.join(timeout_s)
        return not self._thread.is_alive()

    def late_s(self) -> float:
        """By how much the next turn is overdue. [s]"""
        return self.pulse.late_s(self._thread)

    def _run(self) -> None:
        while not self._stop.is_set():
            self.pulse.beat(1.0 + self._linger_s)
            try:
                self._step()
                continue
            except Stopped:
                break
            except (ServiceTrouble, SpoolTrouble) as error:
                self._failed(str(error))
            except Exception as error:  # noqa: BLE001 sending must outlive a fault of ours; it is shown and retried
                self._failed(f"{type(error).__name__}: {error}")
            wait_s = self._backoff.next_s()
            self.pulse.beat(wait_s)
            self._stop.wait(wait_s)
        self.pulse.end()

    def _failed(self, what: str) -> None:
        if not self.trouble:
            self._say(f"readings wait on the disk: {what}")
        self.trouble, self._good = what, 0

    def _worked(self) -> None:
        if self.trouble:
            self._say("the service takes readings again")
        self.trouble = ""
        self._backoff.reset()
        self._good += 1
        if self._good % GROW_AFTER == 0 and self.pack_size < self._full:
            self.pack_size = min(self._full, self.pack_size * 2)

    def _step(self) -> None:
        count = self.pack_size * self._packs
        taken = self._spool.take(count)
        if not taken.rows:
            self._spool.arrived.wait(1.0)
            return
        if len(taken.rows) < self.pack_size and self._linger_s and not self.trouble:
            # a moment's patience makes one request of what several probes say at the same time
            self._stop.wait(self._linger_s)
            taken = self._spool.take(count)
        began_s = time.monotonic()
        self._send(taken)
        if len(taken.rows) == count:
            self._pace(time.monotonic() - began_s)
        self._worked()

    def _pace(self, took_s: float) -> None:
        if took_s > SLUGGISH_S:
            self._packs = max(1, self._packs // 2)
        elif took_s < BRISK_S and self.pack_size == self._full:
            self._packs = min(self._service.packs, self._packs * 2)

    def _send(self, taken: Taken) -> None:
        rows, proven = taken.rows, self._proven
        try:
            answer = self._post(rows)
            self._finish(taken, rows, answer)
            if answer.trouble is not None:
                proven = proven or len(answer.unanswered) < len(rows)
                rows = [rows[place] for place in answer.unanswered]
                raise answer.trouble
        except PackRefused as error:
            too_large = isinstance(error, PackTooLarge)
            if too_large:
                self.pack_size, self._packs = max(1, min(self.pack_size, len(rows)) // 2), 1
            if len(rows) == 1:
                self._blame(taken, [(rows[0], str(error))], proven)
            elif not too_large:
                self._singly(taken, rows)

    def _singly(self, taken: Taken, rows: Sequence[Row]) -> None:
        """One at a time, so that the one that poisons a pack is found and the rest go on."""
        suspects: list[Refusal] = []
        proven = False
        for row in rows:
            if self._stop.is_set():
                return
            try:
                answer = self._post([row])
            except PackRefused as error:
                suspects.append((row, str(error)))
            else:
                self._blame(taken, self._again(taken, suspects), True)
                self._finish(taken, [row], answer)
                suspects, proven = [], True
        self._blame(taken, suspects, proven)

    def _again(self, taken: Taken, suspects: Sequence[Refusal]) -> list[Refusal]:
        """Suspects asked about once more, now that the service takes readings: it may have come back in between."""
        still: list[Refusal] = []
        for row, _ in suspects:
            try:
                answer = self._post([row])
            except PackRefused as error:
                still.append((row, str(error)))
            else:
                self._finish(taken, [row], answer)
        return still

    def _blame(self, taken: Taken, suspects: Sequence[Refusal], proven: bool) -> None:
        """Set suspects aside, but only beside readings that the service does take.

        Raises ServiceTrouble otherwise: a service that refuses everything (called by a name it does not go by, or
        another program at its address) says nothing about a reading, and the spool must not be emptied by it.
        """
        if not suspects:
            return
        if not proven:
            raise ServiceTrouble(suspects[-1][1])
        self._spool.finish(taken, [number for (number, _), _ in suspects], suspects)
        self.delivered.refused += len(suspects)
        self.delivered.last_refused = suspects[-1][1]

    def _post(self, rows: Sequence[Row]) -> Answer:
        readings: list[RawReading] = [reading for _, reading in rows]
        self._proven = False
        self.pulse.beat(POST_S)
        answer = self._service.post(readings)
        self.pulse.beat(1.0 + self._linger_s)
        self._proven = answer.trouble is None
        return answer

    def _finish(self, taken: Taken, rows: Sequence[Row], answer: Answer) -> None:
        later = answer.later if self._patient else ()
        left = {*answer.unanswered, *(index for index, _ in later)}
        done = [number for place, (number, _) in enumerate(rows) if place not in left]
        told = answer.refused if self._patient else (*answer.refused, *answer.later)
        refusals = [(rows[index], reason) for index, reason in told]
        self._spool.finish(taken, done, refusals)
        if later:
            self._spool.defer(taken, [rows[index][0] for index, _ in later], later[-1][1])
        self.delivered.duplicate += answer.duplicate
        self.delivered.refused += len(refusals)
        self.delivered.accepted += len(done) - answer.duplicate - len(refusals)
        if refusals:
            self.delivered.last_refused = refusals[-1][1]
