"""A service of two invented tanks for tests, on a clock that the test sets."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from api.notify.base import Delivery
from api.service import Service
from api.services.ingest import Outcome

NOW_MS = 1_790_000_000_000
ROOM = """
[room]
name = "Test room"
zone = "UTC"
pressure_kpa = 101.325
[[tank]]
id = "t1"
[[tank]]
id = "t2"
[[probe]]
id = "p1"
tank = "t1"
driver = "serial_lines"
port = "/dev/null"
every_s = 60
value = [{ quantity = "temperature", unit = "Cel" }, { quantity = "oxygen", unit = "mg/L" }]
[[probe]]
id = "p2"
tank = "t2"
driver = "serial_lines"
port = "/dev/null"
every_s = 60
value = [{ quantity = "temperature", unit = "[degF]" }, { quantity = "oxygen_saturation", unit = "%" }]
[[notify]]
name = "keeper"
url = "json://127.0.0.1:9/"
"""


class Recording:
    """A notifier that remembers; ``fault`` not empty: it fails with that reason."""

    def __init__(self) -> None:
        self.sent: list[tuple[str, str]] = []
        self.fault = ""

    def send(self, url: str, title: str, body: str) -> Delivery:
        """Remember."""
        if self.fault:
            return Delivery(False, self.fault)
        self.sent.append((title, body))
        return Delivery(True)


class TestRoom:
    """A service, its clock and its notifier. Its threads are not started: tests call ``look`` and ``once``."""

    __test__ = False

    def __init__(self, folder: Path, text: str = ROOM) -> None:
        self.now_ms, self.notifier, self.folder = NOW_MS, Recording(), folder
        (folder / "room.toml").write_text(text, encoding="utf-8")
        self.service = self._open()

    def _open(self) -> Service:
        return Service(self.folder / "room.toml", self.folder / "data", self.notifier, lambda: self.now_ms)

    def close(self) -> None:
        """Close without having started."""
        self.service.store.close()
        self.service.release()

    def restart(self) -> None:
        """As after a power cut: everything in memory is gone."""
        self.close()
        self.service = self._open()

    def take(self, *readings: RawReading) -> Outcome:
        """Send a pack."""
        items: Sequence[RawReading] = readings
        return self.service.ingest.accept(items, self.now_ms).result()

    def minute(self, oxygen_mg_l: float, temperature_c: float = 26.0) -> None:
        """A minute passes, and p1 says its values."""
        self.now_ms += 60_000
        self.take(
            RawReading("p1", Quantity.TEMPERATURE, self.now_ms, temperature_c, "Cel"),
            RawReading("p1", Quantity.OXYGEN, self.now_ms, oxygen_mg_l, "mg/L"),
        )


@contextmanager
def room(folder: Path, text: str = ROOM) -> Iterator[TestRoom]:
    """A room that is closed at the end."""
    one = TestRoom(folder, text)
    try:
        yield one
    finally:
        one.close()
