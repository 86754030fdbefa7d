"""What the collector's tests share: a data folder with the token, and a patient way to wait for something true."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from collector.spool import NAME, Spool
from tests.support.http_receiver import RIGHT_TOKEN, Receiver

Until = Callable[[Callable[[], object]], None]


@pytest.fixture
def until() -> Until:
    """Wait until something is true, at most ten seconds."""

    def wait(true: Callable[[], object]) -> None:
        end_s = time.monotonic() + 10.0
        while not true():
            assert time.monotonic() < end_s, "waited ten seconds in vain"
            time.sleep(0.01)

    return wait


@pytest.fixture
def data(tmp_path: Path) -> Path:
    """A data folder in which the service has left its token."""
    folder = tmp_path / "data"
    folder.mkdir()
    (folder / "collector.token").write_text(f"{RIGHT_TOKEN}\n")
    return folder


@pytest.fixture
def receiver() -> Iterator[Receiver]:
    """A service on a loopback port."""
    with Receiver() as running:
        yield running


@pytest.fixture
def spool(data: Path) -> Iterator[Spool]:
    """A fresh spool."""
    opened = Spool(data / NAME, gather_s=0.0, rest=0.0)
    yield opened
    opened.close()


def readings(count: int, first: int = 0, probe: str = "p1") -> list[RawReading]:
    """Readings one second apart, each with its own value."""
    start_ms = 1_900_000_000_000
    return [
        RawReading(probe, Quantity.TEMPERATURE, start_ms + n * 1000, 20.0 + n / 1000, "Cel")
        for n in range(first, first + count)
    ]
