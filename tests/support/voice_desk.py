"""A second voice on a clock that a test sets, with phones that remember. Must not do: test."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest

from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from api.domain.tank import Notify, Room
from collector.voice import Outside, SecondVoice
from tests.support.rooms import NOW_MS

Q = Quantity
MINUTE_MS = 60_000
LIMITS = {
    "danger": [
        {
            "probe": "p1", "quantity": "oxygen", "label": "oxygen", "unit": "mg/L", "tank": "North 1", "low": 3.0,
            "high": None, "delay_s": 120.0, "low_check": "Is the airstone bubbling?", "high_check": "Measure again.",
        }
    ]
}  # fmt: skip


class Desk:
    """A second voice with a clock, a phone that may fail, and a service that may be dead."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.now_ms, self.taken, self.waiting = folder, NOW_MS, 0, 1
        self.sent: list[tuple[str, str]] = []
        self.rung: list[str] = []
        self.fault, self.doubt, self.boot, self.offset_ms = "", "", "first boot", 0
        self.voice = self.new()

    def new(self) -> SecondVoice:
        """As after a start of the collector."""
        outside = Outside(
            lambda: self.now_ms, lambda: (self.taken, self.waiting), self.boot, lambda: self.date_ms, lambda: self.doubt
        )
        room, notify = Room("Creek room", "UTC"), [Notify("k", "json://keeper/")]
        return SecondVoice(self.folder, room, notify, 900.0, self.send, outside, threading.Event())

    @property
    def date_ms(self) -> int | None:
        """The date, when it is known."""
        return None if self.doubt else self.now_ms + self.offset_ms

    def send(self, url: str, title: str, body: str) -> str:
        """The phone."""
        if not self.fault:
            self.sent.append((title, body))
            self.rung.append(url)
        return self.fault

    def minute(self, oxygen_mg_l: float | None = None, takes: bool = False) -> None:
        """A minute passes; a probe speaks, the service takes it or not, the voice looks."""
        self.now_ms += MINUTE_MS
        if oxygen_mg_l is not None:
            self.voice.hear([RawReading("p1", Q.OXYGEN, self.now_ms, oxygen_mg_l, "mg/L")])
        self.taken += takes
        self.voice.look(self.taken, self.waiting)

    @property
    def titles(self) -> list[str]:
        """What was delivered."""
        return [title for title, _ in self.sent]


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    """A voice that has its limits."""
    one = Desk(tmp_path)
    one.voice.answered(LIMITS)
    return one
