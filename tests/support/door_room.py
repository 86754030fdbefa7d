"""A room whose readings come through a real broker, and a board that speaks to it. Must not do: test."""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from api.domain.quantity import Quantity
from api.domain.tank import Mqtt
from api.mqtt.door import MqttDoor
from api.mqtt.line import Broker
from tests.support.mosquitto import Mosquitto
from tests.support.mqtt_speaker import Speaker
from tests.support.rooms import NOW_MS, TestRoom, room

READINGS, KEPT = "intermolt/test-room/p1/readings", "intermolt/test-room/p1/kept"
HERE = "intermolt/test-room/service/state"


@pytest.fixture(scope="module")
def broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Mosquitto]:
    """A stock broker."""
    with Mosquitto(tmp_path_factory.mktemp("broker")) as running:
        yield running


@pytest.fixture
def lab(tmp_path: Path) -> Iterator[TestRoom]:
    """Two tanks with a probe each."""
    with room(tmp_path) as made:
        yield made


def door_of(lab: TestRoom, port: int, version: str = "5", **settings: Any) -> MqttDoor:
    """A door of the lab at a broker."""
    service = lab.service
    broker = Broker.of(Mqtt(port=port, version=version, **settings), lab.folder)
    return MqttDoor(broker, "Test room", service.ingest, service.store, lambda: lab.now_ms)


@pytest.fixture(params=["5", "3.1.1"])
def version(request: pytest.FixtureRequest) -> str:
    """Both versions."""
    return str(request.param)


@pytest.fixture
def door(lab: TestRoom, broker: Mosquitto, version: str) -> Iterator[MqttDoor]:
    """A door that listens."""
    made = door_of(lab, broker.port, version)
    made.start()
    until(lambda: made.health() == "well")
    yield made
    made.stop()


@pytest.fixture
def board(broker: Mosquitto, door: MqttDoor, version: str) -> Iterator[Speaker]:
    """A board at the broker."""
    with Speaker(broker.port, version) as made:
        yield made


def until(true: Callable[[], object], within_s: float = 10.0) -> None:
    """Wait until something is true."""
    end_s = time.monotonic() + within_s
    while not true():
        assert time.monotonic() < end_s, f"waited {within_s:g} s in vain"
        time.sleep(0.01)


def pack(*values: float, probe: str = "p1", first_ms: int = NOW_MS) -> bytes:
    """Temperatures, a second apart."""
    return json.dumps(
        [{"n": f"{probe}/temperature", "u": "Cel", "v": v, "t": first_ms / 1000 + n} for n, v in enumerate(values)]
    ).encode()


def kept(lab: TestRoom, probe: str = "p1") -> list[float | None]:
    """Values in the store."""
    found = lab.service.store.readings.recent(probe, Quantity.TEMPERATURE, 0, NOW_MS * 2)
    return [value for _, value, _ in found]
