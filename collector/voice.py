"""The second voice: when the service has taken nothing for too long, the collector itself calls the keeper.

It says that the service is away, warns of danger limits the service last told, and says when the service is back.
Must not do: speak while the service does, or hold up reading and sending.
"""

from __future__ import annotations

import json
import os
import threading
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, field
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from api.domain.reading import RawReading
from api.domain.tank import Notify, Room
from api.domain.told import FILE as TOLD_FILE
from api.domain.told import told_in
from api.domain.words import duration
from collector.danger import Beyond, DangerWatch, KeptLimits, Limit
from collector.danger_words import CAUTION, danger_messages

FILE = "second-voice.json"
LOOK_S = 2.0
AGAIN_MS = 3_600_000
"""A danger that stands is told again after an hour."""
WAITS_S = (5.0, 15.0, 60.0, 300.0)
"""How long to wait before a message is tried again."""
MOST_WAITING = 500
Send = Callable[[str, str, str], str]
"""Address, title and body in; the reason of failure out, empty when it was delivered."""


@dataclass
class Memory:
    """What must outlive a restart: since when we speak, what was told, and what is still to be delivered.

    Times are milliseconds of the boot ``boot_id``; ``silent_since_date_ms`` says the first one as a date, if known.
    """

    silent_since_ms: int | None = None
    told: dict[str, int] = field(default_factory=dict)
    waiting: list[list[str]] = field(default_factory=list)
    boot_id: str = ""
    silent_since_date_ms: int | None = None


@dataclass(frozen=True, slots=True)
class Outside:
    """The world around the second voice: a clock nobody sets, the date if it is known, and what holds readings up.

    ``counts``: how many readings the service has taken since the start, and how many wait for it or for a date.
    """

    now_ms: Callable[[], int]
    counts: Callable[[], tuple[int, int]]
    boot_id: str = ""
    date_ms: Callable[[], int | None] = lambda: None
    doubt: Callable[[], str] = lambda: ""


class SecondVoice:
    """Watches the service's answers; its own thread sends, so that nothing waits for a phone."""

    def __init__(
        self,
        folder: Path,
        room: Room,
        notify: Sequence[Notify],
        after_s: float,
        send: Send,
        outside: Outside,
        stop: threading.Event,
        say: Callable[[str], None] = lambda text: None,
    ) -> None:
        self._path, self._room, self._after_ms = folder / FILE, room, round(after_s * 1000)
        self._described, self._send, self._outside, self._stop, self._say = tuple(notify), send, outside, stop, say
        self._now_ms = outside.now_ms
        self.kept = KeptLimits(folder)
        self._watch, self._lock = DangerWatch(), threading.Lock()
        self.memory = self._read()
        self._taken = 0
        since_ms = self.memory.silent_since_ms
        self._answered_ms = self._now_ms() if since_ms is None else since_ms
        self._tries, self._next_ms = 0, 0
        self._thread = threading.Thread(target=self._run, name="second voice", daemon=True)

    @property
    def _notify(self) -> tuple[Notify, ...]:
        """Who is told: as the service left it last, else as the room file says."""
        try:
            left = told_in((self._path.parent / TOLD_FILE).read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return self._described
        return left or self._described

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def join(self, timeout_s: float) -> bool:
        """Wait for the end after ``stop`` was set; whether it came."""
        self._thread.join(timeout_s)
        return not self._thread.is_alive()

    def hear(self, readings: Sequence[RawReading]) -> None:
        """What a probe has just said."""
        with self._lock:
            self._watch.hear(readings, self._limits(), self._now_ms())

    def answered(self, body: object) -> None:
        """The service answered a report; with it come the limits."""
        with self._lock:
            try:
                self.kept.take(body)
            except OSError as error:
                self._say(f"the danger limits cannot be kept: {error}")

    def _limits(self) -> dict[tuple[str, str], Limit]:
        return {(limit.probe, limit.quantity): limit for limit in self.kept.limits}

    def look(self, taken: int, waiting: int) -> None:
        """One look: how many readings the service has ever taken, and how many wait for it."""
        now_ms = self._now_ms()
        with self._lock:
            if taken != self._taken or waiting == 0:
                self._taken, self._answered_ms = taken, now_ms
                self._back(now_ms)
            elif now_ms - self._answered_ms >= self._after_ms or self.memory.silent_since_ms is not None:
                self._away(now_ms, waiting)
        self.deliver()

    def _away(self, now_ms: int, waiting: int) -> None:
        if self.memory.silent_since_ms is None:
            self._begin(now_ms, waiting)
        new: list[tuple[Limit, Beyond]] = []
        for limit, beyond in self._watch.dangers(self._limits(), now_ms):
            key = f"{limit.probe}/{limit.quantity}"
            if now_ms - self.memory.told.get(key, now_ms - AGAIN_MS) >= AGAIN_MS:
                self.memory.told[key] = now_ms
                new.append((limit, beyond))
        for title, body in danger_messages(new, self._room.name, now_ms):
            self._tell(title, body)
        standing = {f"{probe}/{quantity}" for probe, quantity in self._watch.beyond}
        names = {f"{limit.probe}/{limit.quantity}": f"{limit.tank}: {limit.label}" for limit in self.kept.limits}
        over = [key for key in self.memory.told if key not in standing and key in self._watch.heard]
        for key in over:
            del self.memory.told[key]
        if over:
            words = "; ".join(sorted(f"{names.get(key, key)} is back inside its danger limit" for key in over))
            self._tell(f"{self._room.name}: back inside danger limits", f"{words}.")

    def _begin(self, now_ms: int, waiting: int) -> None:
        """The service has been silent for long enough: from here on we speak."""
        silent_ms = now_ms - self._answered_ms
        date_ms = self._outside.date_ms()
        self.memory.silent_since_ms = self._answered_ms
        self.memory.silent_since_date_ms = None if date_ms is None else date_ms - silent_ms
        since = duration(silent_ms / 1000)
        if self.memory.silent_since_date_ms is not None:
            since += f", since {_wall(self.memory.silent_since_date_ms, self._room.zone)},"
        name, doubt = self._room.name, self._outside.doubt()
        if doubt:
            title, why = f"URGENT {name}: readings cannot be passed on", f"No reading could be passed on: {doubt}."
        else:
            title, why = f"URGENT {name}: the service takes no readings", "The service has taken none."
        self._tell(
            title,
            f"{name}: for {since} nobody has judged the water. {why} {waiting} readings wait safely on the collector's"
            " disk. First: is the service's computer on, and its disk not full? Until then the collector itself warns"
            f" of danger limits. {CAUTION}",
        )

    def _back(self, now_ms: int) -> None:
        since_ms = self.memory.silent_since_ms
        if since_ms is None:
            return
        away = duration((now_ms - since_ms) / 1000)
        self.memory.silent_since_ms, self.memory.silent_since_date_ms, self.memory.told = None, None, {}
        self._tell(
            f"{self._room.name}: the service takes readings again",
            f"{self._room.name}: the service takes readings again; it was away for {away}. Its own alerts follow.",
        )

    def _tell(self, title: str, body: str) -> None:
        self._say(title)
        everyone = self._notify
        self.memory.waiting += [[notify.url, title, body] for notify in everyone]
        if len(self.memory.waiting) > MOST_WAITING:
            # the first say that the service is away; of the rest the newest count
            del self.memory.waiting[len(everyone) : -(MOST_WAITING - len(everyone))]
        self._next_ms, self._tries = 0, 0
        self._write()

    def deliver(self) -> None:
        """Try what waits; what cannot be delivered stays, and is tried again later and later."""
        if not self.memory.waiting or self._now_ms() < self._next_ms:
            return
        left: list[list[str]] = []
        down: dict[str, str] = {}
        for url, title, body in list(self.memory.waiting):
            # an address that failed is not asked again in this round, so that it holds up no other
            if url in down or (failed := self._send(url, title, body)):
                down.setdefault(url, failed)
                left.append([url, title, body])
        with self._lock:
            self.memory.waiting = left
            if left:
                wait_s = WAITS_S[min(self._tries, len(WAITS_S) - 1)]
                self._tries, self._next_ms = self._tries + 1, self._now_ms() + round(wait_s * 1000)
                self._say(f"{len(left)} messages of the second voice wait: {next(iter(down.values()))}")
            self._write()

    def _run(self) -> None:
        while not self._stop.wait(LOOK_S):
            try:
                self.look(*self._outside.counts())
            except Exception as error:  # noqa: BLE001 the second voice must outlive a fault of its own
                self._say(f"fault in the second voice: {error!r}")

    def _read(self) -> Memory:
        try:
            memory = Memory(**json.loads(self._path.read_text(encoding="utf-8")))
        except (OSError, ValueError, TypeError):
            memory = Memory()
        if memory.boot_id != self._outside.boot_id:
            self._another_boot(memory)
        return memory

    def _another_boot(self, memory: Memory) -> None:
        """After a power cut: the same moments on the new boot's clock, as far as the date is known."""
        memory.boot_id, now_ms, date_ms = self._outside.boot_id, self._now_ms(), self._outside.date_ms()
        memory.told = dict.fromkeys(memory.told, now_ms)
        if memory.silent_since_ms is not None:
            known = date_ms is not None and memory.silent_since_date_ms is not None
            away_ms = (date_ms or 0) - (memory.silent_since_date_ms or 0) if known else 0
            memory.silent_since_ms = now_ms - max(0, away_ms)

    def _write(self) -> None:
        try:
            fresh = self._path.with_suffix(".new")
            fresh.write_text(json.dumps(asdict(self.memory)), encoding="utf-8")
            os.replace(fresh, self._path)
        except OSError as error:
            self._say(f"what the second voice has told cannot be kept: {error}")


def _wall(time_ms: int, zone: str) -> str:
    return datetime.fromtimestamp(time_ms / 1000, ZoneInfo(zone)).strftime("%H:%M")
