"""A room of two tanks with people in it, on a clock that the test sets; every message is remembered by its address."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from api.notify.base import Delivery
from tests.support.rooms import ROOM, TestRoom

SITE = "http://localhost"
PEOPLE = """
[[person]]
name = "Ana"
channels = ["json://ana-phone/", "json://ana-mail/"]
[[person]]
name = "Ben"
channels = ["json://ben-phone/"]
[[person]]
name = "Cleo"
channels = ["json://cleo-phone/"]
"""
LADDER = """
[room.ladder]
test_at = "never"
"""
SERVICE = f"""
[room.service]
address = "{SITE}"
"""


class ByAddress:
    """A notifier that remembers who got what when; addresses in ``dead`` do not answer."""

    def __init__(self) -> None:
        self.sent: list[tuple[str, str, str]] = []
        self.dead: set[str] = set()

    def send(self, url: str, title: str, body: str) -> Delivery:
        """Remember."""
        name = url.removeprefix("json://").strip("/")
        if name in self.dead:
            return Delivery(False, "timed out")
        self.sent.append((name, title, body))
        return Delivery(True)


class ReachRoom(TestRoom):
    """Readings, ladder and outbox go on together as the clock is turned."""

    def __init__(self, folder: Path, people: str = PEOPLE, ladder: str = LADDER, at: str = "2026-09-21T13:00") -> None:
        room = ROOM.split("[[notify]]")[0].replace(
            "pressure_kpa = 101.325\n", f"pressure_kpa = 101.325\n{SERVICE}{ladder}"
        )
        super().__init__(folder, room + people)
        self.now_ms = round(datetime.fromisoformat(at).replace(tzinfo=UTC).timestamp() * 1000)
        self.by: ByAddress = ByAddress()
        self.notifier = self.by  # type: ignore[assignment]
        self.restart()

    def turn(self, minutes: float, oxygen: dict[str, float] | None = None, step_s: float = 30.0) -> None:
        """Time passes: probes speak each minute, and ladder and outbox go their rounds twice a minute."""
        for half in range(round(minutes * 60 / step_s)):
            self.now_ms += round(step_s * 1000)
            if oxygen and half % 2:
                for probe, value in oxygen.items():
                    self.say(probe, value)
            self.round()

    def say(self, probe: str, oxygen: float) -> None:
        """A probe says its oxygen: p1 in mg/L, p2 in percent."""
        quantity, unit = (Quantity.OXYGEN, "mg/L") if probe == "p1" else (Quantity.OXYGEN_SATURATION, "%")
        self.take(
            RawReading(
                probe,
                Quantity.TEMPERATURE,
                self.now_ms,
                26.0 if probe == "p1" else 78.8,
                "Cel" if probe == "p1" else "[degF]",
            ),
            RawReading(probe, quantity, self.now_ms, oxygen, unit),
        )

    def round(self) -> None:
        """The ladder's round, then the outbox's."""
        self.service.reaching.reach.look()
        self.service.deliver.once()

    def told(self) -> list[tuple[str, str]]:
        """(address, title) of what was delivered since the last time this was asked."""
        news = [(name, title) for name, title, _ in self.by.sent]
        self.by.sent.clear()
        return news

    def clock(self) -> str:
        """What the room's clock shows."""
        return f"{datetime.fromtimestamp(self.now_ms / 1000, UTC):%a %H:%M}"


@contextmanager
def reach_room(
    folder: Path, people: str = PEOPLE, ladder: str = LADDER, at: str = "2026-09-21T13:00"
) -> Iterator[ReachRoom]:
    """A room that is closed at the end. The day is a Monday."""
    one = ReachRoom(folder, people, ladder, at)
    try:
        yield one
    finally:
        one.close()
