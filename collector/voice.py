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
from pathlib import Path

from api.domain.reading import RawReading
from api.domain.tank import Notify
from api.domain.words import duration
from collector.danger import Beyond, DangerWatch, KeptLimits, Limit

FILE = "second-voice.json"
LOOK_S = 2.0
AGAIN_MS = 3_600_000
"""A danger that stands is told again after an hour."""
WAITS_S = (5.0, 15.0, 60.0, 300.0)
"""How long to wait before a message is tried again."""
CAUTION = "Mains and water: dry hands, drip loops; follow your site's rules."
Send = Callable[[str, str, str], str]
"""Address, title and body in; the reason of failure out, empty when it was delivered."""


@dataclass
class Memory:
    """What must outlive a restart: since when we speak, what was told, and what is still to be delivered."""

    silent_since_ms: int | None = None
    told: dict[str, int] = field(default_factory=dict)
    waiting: list[list[str]] = field(default_factory=list)


class SecondVoice:
    """Watches the service's answers; its own thread sends, so that nothing waits for a phone.

    ``counts`` tells how many readings the service has taken since the start, and how many wait for it.
    """

    def __init__(
        self,
        folder: Path,
        room: str,
        notify: Sequence[Notify],
        after_s: float,
        send: Send,
        now_ms: Callable[[], int],
        counts: Callable[[], tuple[int, int]],
        stop: threading.Event,
        say: Callable[[str], None] = lambda text: None,
    ) -> None:
        self._path, self._room, self._after_ms = folder / FILE, room, round(after_s * 1000)
        self._notify, self._send, self._now_ms, self._stop, self._say = tuple(notify), send, now_ms, stop, say
        self._counts = counts
        self.kept = KeptLimits(folder)
        self._watch, self._lock = DangerWatch(), threading.Lock()
        self.memory = self._read()
        self._taken = 0
        self._answered_ms = self.memory.silent_since_ms or self._now_ms()
        self._tries, self._next_ms = 0, 0
        self._thread = threading.Thread(target=self._run, name="second voice", daemon=True)

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
            self._watch.hear(readings, self._limits())

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
            self.memory.silent_since_ms = self._answered_ms
            away = duration((now_ms - self._answered_ms) / 1000)
            self._tell(
                f"URGENT {self._room}: the service takes no readings",
                f"{self._room}: for {away} the service has taken no readings, so nobody judges the water; {waiting} "
                "readings wait safely on the collector's disk. First: is the service's computer on, and its disk not "
                "full? Until it is back the collector itself warns of danger limits.",
            )
        for limit, beyond in self._watch.dangers(self._limits(), now_ms):
            key = f"{limit.probe}/{limit.quantity}"
            if now_ms - self.memory.told.get(key, -AGAIN_MS) >= AGAIN_MS:
                self.memory.told[key] = now_ms
                self._tell(f"URGENT {limit.tank}: {limit.label}", danger_words(limit, beyond, now_ms))
        standing = {f"{probe}/{quantity}" for probe, quantity in self._watch.beyond}
        for key in [key for key in self.memory.told if key not in standing]:
            del self.memory.told[key]
            words = f"{key} is back inside its danger limit"
            self._tell(f"{self._room}: {words}", f"{words}.")

    def _back(self, now_ms: int) -> None:
        since_ms = self.memory.silent_since_ms
        if since_ms is None:
            return
        away = duration((now_ms - since_ms) / 1000)
        self.memory.silent_since_ms, self.memory.told = None, {}
        self._tell(
            f"{self._room}: the service takes readings again",
            f"{self._room}: the service takes readings again; it was away for {away}. Its own alerts follow.",
        )

    def _tell(self, title: str, body: str) -> None:
        self._say(title)
        self.memory.waiting += [[notify.url, title, body] for notify in self._notify]
        self._next_ms, self._tries = 0, 0
        self._write()

    def deliver(self) -> None:
        """Try what waits; what cannot be delivered stays, and is tried again later and later."""
        if not self.memory.waiting or self._now_ms() < self._next_ms:
            return
        left, reason = [], ""
        for url, title, body in list(self.memory.waiting):
            failed = self._send(url, title, body)
            if failed:
                left.append([url, title, body])
                reason = failed
        with self._lock:
            self.memory.waiting = left
            if left:
                wait_s = WAITS_S[min(self._tries, len(WAITS_S) - 1)]
                self._tries, self._next_ms = self._tries + 1, self._now_ms() + round(wait_s * 1000)
                self._say(f"{len(left)} messages of the second voice wait: {reason}")
            self._write()

    def _run(self) -> None:
        while not self._stop.wait(LOOK_S):
            try:
                self.look(*self._counts())
            except Exception as error:  # noqa: BLE001 the second voice must outlive a fault of its own
                self._say(f"fault in the second voice: {error!r}")

    def _read(self) -> Memory:
        try:
            return Memory(**json.loads(self._path.read_text(encoding="utf-8")))
        except (OSError, ValueError, TypeError):
            return Memory()

    def _write(self) -> None:
        try:
            fresh = self._path.with_suffix(".new")
            fresh.write_text(json.dumps(asdict(self.memory)), encoding="utf-8")
            os.replace(fresh, self._path)
        except OSError as error:
            self._say(f"what the second voice has told cannot be kept: {error}")


def danger_words(limit: Limit, beyond: Beyond, now_ms: int) -> str:
    """Tank, value, limit, how long, and what to look at first."""
    side, check = ("above", limit.high_check) if beyond.high else ("below", limit.low_check)
    lasted = duration((now_ms - beyond.since_ms) / 1000)
    return (
        f"{limit.tank}: {limit.label} {beyond.value:g} {limit.unit}, {side} the danger limit {beyond.limit:g} "
        f"{limit.unit} for {lasted}. {check} Told by the collector: the service is away. {CAUTION}"
    )
