"""The broker's door when something is wrong: the store, the broker, a password, files; nothing is lost by it."""

from __future__ import annotations

from concurrent.futures import Future
from pathlib import Path
from typing import Any

import pytest

from api.domain.errors import InputError
from api.domain.tank import Mqtt
from api.mqtt.door import MqttDoor
from api.mqtt.line import Broker
from api.mqtt.turns import Turns
from api.services.ingest import Outcome
from api.storage.base import StoreUnavailable
from tests.support.door_room import KEPT, READINGS, board, broker, door, door_of, kept, lab, pack, until, version
from tests.support.mosquitto import Mosquitto
from tests.support.mqtt_speaker import Speaker
from tests.support.rooms import NOW_MS, TestRoom

__all__ = ["board", "broker", "door", "lab", "version"]


class Shaky:
    """An ingest whose store takes nothing while ``down``; ``fault`` stands for a fault in judging."""

    def __init__(self, lab: TestRoom) -> None:
        self._ingest = lab.service.ingest
        self.down, self.fault, self.tries = True, False, 0

    def accept(self, items: Any, now_ms: int) -> Future[Outcome]:
        """Keep, or not."""
        self.tries += 1
        if not self.down and not self.fault:
            return self._ingest.accept(items, now_ms)
        failed: Future[Outcome] = Future()
        failed.set_exception(StoreUnavailable("the disk is full") if self.down else KeyError("a fault of ours"))
        return failed


def test_what_the_store_does_not_take_is_not_acknowledged_and_goes_in_later(
    lab: TestRoom, door: MqttDoor, board: Speaker
) -> None:
    """The sender hears why, the health page too; when the disk has room again the pack goes in by itself."""
    shaky = Shaky(lab)
    door._ingest = shaky  # type: ignore[assignment]
    for n in range(3):
        board.say(READINGS, pack(25.0 + n, first_ms=NOW_MS + n * 1000))
    assert board.hear(KEPT)["status"] == 503
    until(lambda: door.health() == "3 packs wait for the store")
    shaky.down = False
    assert [board.hear(KEPT)["status"] for _ in range(3)] == [200, 200, 200]
    assert kept(lab) == [25.0, 26.0, 27.0]
    until(lambda: door.health() == "well")


def test_a_pack_that_was_not_stored_comes_again_after_a_restart(lab: TestRoom, broker: Mosquitto, version: str) -> None:
    """The broker still holds it, because only the commit is acknowledged."""
    first = door_of(lab, broker.port, version)
    shaky = Shaky(lab)
    first._ingest = shaky  # type: ignore[assignment]
    first.start()
    with Speaker(broker.port, version) as board:
        until(lambda: first.health() == "well")
        board.say(READINGS, pack(25.5))
        assert board.hear(KEPT)["status"] == 503
        first.stop()
        board.say(READINGS, pack(26.5, first_ms=NOW_MS + 1000))  # while the service is away
        second = door_of(lab, broker.port, version)
        second.start()
        assert [board.hear(KEPT)["status"] for _ in range(2)] == [200, 200]
        second.stop()
    assert kept(lab) == [25.5, 26.5]


def test_a_fault_of_ours_is_told_counted_and_holds_up_nothing(lab: TestRoom, door: MqttDoor, board: Speaker) -> None:
    """The sender keeps its readings: 500 is no answer to let go by."""
    shaky = Shaky(lab)
    shaky.down, shaky.fault = False, True
    door._ingest = shaky  # type: ignore[assignment]
    board.say(READINGS, pack(25.0))
    assert board.hear(KEPT)["status"] == 500
    shaky.fault = False
    board.say(READINGS, pack(25.0))
    assert board.hear(KEPT)["accepted"] == 1
    assert door.counts == {"Fault in Intermolt": 1}


def test_a_broker_that_is_not_there_is_told_and_waited_for(lab: TestRoom, tmp_path: Path) -> None:
    """Killed and started again, with everything it held in memory gone."""
    with Mosquitto(tmp_path / "broker") as broker:
        broker.kill()
        door = door_of(lab, broker.port)
        door.start()
        until(lambda: "cannot be reached" in door.health())
        for _ in range(2):
            broker.start()
            until(lambda: door.health() == "well", 20)
            with Speaker(broker.port) as board:
                board.say(READINGS, pack(25.0))
                assert board.hear(KEPT)["status"] == 200
            broker.kill()
            until(lambda: door.health() != "well")
        door.stop()


def test_a_wrong_password_is_told(lab: TestRoom, tmp_path: Path) -> None:
    """In the broker's words; the right one from a file lets in."""
    (lab.folder / "secret.txt").write_text("right\n", encoding="utf-8")
    with Mosquitto(tmp_path / "broker", users={"service": "right"}) as broker:
        for settings, words in (({"password": "wrong"}, "lets us not in"), ({"password_file": "secret.txt"}, "well")):
            door = door_of(lab, broker.port, user="service", **settings)
            door.start()
            until(lambda door=door, words=words: words in door.health())  # type: ignore[misc]
            door.stop()


@pytest.mark.parametrize(
    "settings", [{"password_file": "none.txt"}, {"tls": True, "ca_file": "none.pem"}, {"host": ""}]
)
def test_files_that_cannot_be_read_are_told_at_the_start(settings: dict[str, Any], tmp_path: Path) -> None:
    """With their name, before anything is started."""
    with pytest.raises(InputError, match=r"\[room.mqtt\]"):
        Broker.of(Mqtt(**settings), tmp_path)


def test_acknowledgements_keep_their_order_and_end_with_the_connection() -> None:
    """A number of an earlier connection may mean another message by now."""
    said: list[int] = []
    turns = Turns(lambda number, quality: said.append(number))
    first, second, third = (turns.take(number, 1) for number in (7, 8, 9))
    free = turns.take(0, 0)
    turns.done(second)
    turns.done(free, lambda: said.append(100))
    assert said == [100]
    turns.done(first)
    assert said == [100, 7, 8]
    turns.close()
    turns.done(third, lambda: said.append(200))
    assert said == [100, 7, 8]
