"""An uplink through a real broker to an answerer that speaks for the service. Must not do: test."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from api.domain.tank import Mqtt
from collector.backoff import Backoff
from collector.mqtt_line import Broker
from collector.mqtt_service import MqttService
from collector.spool import Spool
from collector.uplink import Uplink
from tests.support.mosquitto import Mosquitto
from tests.support.mqtt_answerer import (
    Answerer,
)

STATE = "intermolt/trial/collector/main/state"


@pytest.fixture(scope="module")
def broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Mosquitto]:
    """A stock broker."""
    with Mosquitto(tmp_path_factory.mktemp("broker")) as running:
        yield running


@pytest.fixture
def answerer(broker: Mosquitto) -> Iterator[Answerer]:
    """A service behind it."""
    with Answerer(broker.port) as running:
        yield running


@pytest.fixture(params=["5", "3.1.1"])
def version(request: pytest.FixtureRequest) -> str:
    """Both versions."""
    return str(request.param)


def service_of(port: int, folder: Path, version: str = "5", answer_s: float = 0.5, **settings: Any) -> MqttService:
    """The service through a broker, which is given half a second for an answer."""
    broker = Broker.of(Mqtt(port=port, version=version, **settings), folder)
    return MqttService(broker, "Trial", "main", 50, answer_s)


@contextmanager
def running(spool: Spool, service: MqttService, pack_size: int = 50) -> Iterator[Uplink]:
    """An uplink that hardly waits between tries."""
    stop = threading.Event()
    uplink = Uplink(spool, service, stop, pack_size, linger_s=0.0, backoff=Backoff(lambda low, high: 0.02))
    uplink.start()
    try:
        yield uplink
    finally:
        stop.set()
        spool.arrived.set()
        service.close()
        assert uplink.join(10.0)
