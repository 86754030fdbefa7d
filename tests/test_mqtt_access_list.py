"""Who may say and hear what at the broker: the access list of the README, on a real broker."""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from api.domain.tank import Mqtt
from api.mqtt.door import MqttDoor
from api.mqtt.line import Broker as ServiceBroker
from collector.errors import ServiceTrouble
from collector.mqtt_line import Broker
from collector.mqtt_service import MqttService
from tests.support.mosquitto import Mosquitto
from tests.support.mqtt_speaker import Speaker
from tests.support.rooms import NOW_MS, TestRoom, room

ACCESS = """
user service
topic read intermolt/test-room/+/readings
topic read intermolt/test-room/collector/+/status
topic write intermolt/test-room/+/kept
topic write intermolt/test-room/collector/+/kept
topic write intermolt/test-room/service/state

user collector
topic write intermolt/test-room/+/readings
topic write intermolt/test-room/collector/+/status
topic write intermolt/test-room/collector/+/state
topic read intermolt/test-room/+/kept
topic read intermolt/test-room/collector/+/kept
topic read intermolt/test-room/service/state

pattern write intermolt/test-room/%u/readings
pattern read intermolt/test-room/%u/kept
"""
USERS = {"service": "a", "collector": "b", "board-7": "c"}
WORDS = json.dumps([{"n": "p1/temperature", "u": "Cel", "v": 25.0, "t": NOW_MS / 1000}]).encode()


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    """A broker with passwords and the access list."""
    path = tmp_path / "access"
    path.write_text(ACCESS, encoding="utf-8")
    with Mosquitto(tmp_path / "broker", extra=f"acl_file {path}", users=USERS) as running:
        yield running


@pytest.fixture(params=["5", "3.1.1"])
def version(request: pytest.FixtureRequest) -> str:
    """Both versions."""
    return str(request.param)


@pytest.fixture
def lab(tmp_path: Path, broker: Mosquitto, version: str) -> Iterator[TestRoom]:
    """A room whose service listens as user "service"."""
    with room(tmp_path) as made:
        settings = Mqtt(port=broker.port, user="service", password="a", version=version)
        service = made.service
        door = MqttDoor(
            ServiceBroker.of(settings, tmp_path), "Test room", service.ingest, service.store, lambda: NOW_MS
        )
        door.start()
        _until(lambda: door.health() == "well")
        yield made
        door.stop()


def _until(true: Callable[[], object]) -> None:
    end_s = time.monotonic() + 10
    while not true():
        assert time.monotonic() < end_s
        time.sleep(0.02)


def _collector(port: int, folder: Path, version: str, **who: Any) -> MqttService:
    settings = Mqtt(port=port, version=version, **who)
    return MqttService(Broker.of(settings, folder), "Test room", "main", 200, 0.7)


def test_with_the_access_list_readings_and_reports_go_through(
    lab: TestRoom, broker: Mosquitto, version: str, tmp_path: Path
) -> None:
    """Nothing that is needed is missing from it."""
    service = _collector(broker.port, tmp_path, version, user="collector", password="b")
    assert service.post([RawReading("p1", Quantity.TEMPERATURE, NOW_MS, 25.0, "Cel")]).accepted == 1
    service.put_status("main", {"spool": {}, "ports": []})
    service.close()


def test_a_board_speaks_for_itself_alone_and_hears_its_own_answers(
    lab: TestRoom, broker: Mosquitto, version: str
) -> None:
    """Its user's name is its probe id."""
    mine = WORDS.replace(b"p1/", b"board-7/")
    with Speaker(broker.port, version, "intermolt/test-room/board-7/kept", user="board-7", password="c") as board:
        board.say("intermolt/test-room/p1/readings", WORDS)
        board.say("intermolt/test-room/board-7/readings", mine)
        assert board.hear("intermolt/test-room/board-7/kept")["accepted"] == 1
    heard = {one.probe for one in lab.service.store.readings.channels()}
    assert heard == {"board-7"}


def test_who_may_not_speak_is_told_or_waits_in_vain_and_keeps_its_readings(
    lab: TestRoom, broker: Mosquitto, version: str, tmp_path: Path
) -> None:
    """Version 5 says why."""
    service = _collector(broker.port, tmp_path, version, user="board-7", password="c")
    words = "does not take what we say" if version == "5" else "no answer from the service"
    with pytest.raises(ServiceTrouble, match=words):
        service.post([RawReading("p1", Quantity.TEMPERATURE, NOW_MS, 25.0, "Cel")])
    service.close()
    assert lab.service.store.readings.channels() == []
