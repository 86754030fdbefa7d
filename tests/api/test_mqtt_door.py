"""The service's door at a real broker: what comes is kept and answered, what cannot be used is answered and counted."""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from pathlib import Path
from typing import Any

import pytest

from api.domain.errors import InputError
from api.domain.quantity import Quantity
from api.domain.tank import Mqtt
from api.domain.topics import Topics, pack_id, room_level
from api.mqtt.door import MOST_BYTES, MqttDoor
from api.mqtt.line import Broker
from api.mqtt.turns import Turns
from api.services.ingest import Outcome
from api.storage.base import StoreUnavailable
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


def test_a_pack_is_kept_then_answered_by_the_name_both_can_work_out(
    lab: TestRoom, door: MqttDoor, board: Speaker
) -> None:
    """Again it is a duplicate."""
    for accepted, duplicate in ((2, 0), (0, 2)):
        board.say(READINGS, pack(25.0, 25.1))
        assert board.hear(KEPT) == {
            "pack": pack_id(pack(25.0, 25.1)), "status": 200, "accepted": accepted, "duplicate": duplicate,
            "refused": [],
        }  # fmt: skip
        assert kept(lab) == [25.0, 25.1]


def test_items_are_refused_one_by_one_also_those_of_another_probe(
    lab: TestRoom, door: MqttDoor, board: Speaker
) -> None:
    """A topic speaks for one probe."""
    records = json.loads(pack(25.0, 25.1, 25.2))
    records[0]["n"], records[1]["v"] = "p2/temperature", "warm"
    board.say(READINGS, json.dumps(records).encode())
    answer = board.hear(KEPT)
    assert (answer["accepted"], [item["index"] for item in answer["refused"]]) == (1, [0, 1])
    assert answer["refused"][0]["reason"] == "it names probe 'p2' in a pack of probe 'p1'"
    assert (kept(lab), kept(lab, "p2")) == ([25.2], [])
    assert lab.service.read.room(NOW_MS).refused_here == 2


@pytest.mark.parametrize(
    ("payload", "status"),
    [
        (b"", 400),
        (b"\xff\x00 not text", 400),
        (b"25.4", 400),
        (b"{}", 400),
        (b"[]", 400),
        (b"null", 400),
        (b"[" * 100_000 + b"]" * 100_000, 400),
        (b'{"a":' * 50_000 + b"1" + b"}" * 50_000, 400),
        (b"[" + b"0," * 400_000 + b"0]", 413),
        (b'[{"n":"p1/temperature","u":"Cel","v":1}' + b',{"n":"x"}' * 10_000 + b"]", 413),
        (b" " * (MOST_BYTES + 1), 413),
        (b'[{"n":"' + b"9" * (MOST_BYTES + 1000) + b'"}]', 413),
    ],
    ids=[
        "empty", "bytes", "number", "object", "no records", "null", "deep lists", "deep objects", "many items",
        "many records", "long", "long name",
    ],
)  # fmt: skip
def test_what_is_no_pack_is_answered_counted_and_holds_up_nothing(
    payload: bytes, status: int, lab: TestRoom, door: MqttDoor, board: Speaker
) -> None:
    """The next good pack goes through, and the hostile one does not come again."""
    board.say(READINGS, payload)
    answer = board.hear(KEPT, 20.0)
    assert (answer["pack"], answer["status"]) == (pack_id(payload), status)
    assert answer["detail"]
    assert sum(door.counts.values()) == 1
    board.say(READINGS, pack(25.0))
    assert board.hear(KEPT)["accepted"] == 1
    assert door.health() == "well"


@pytest.mark.parametrize(
    "payload",
    [
        b"[null]",
        b"[[]]",
        b'[{"n":null,"u":[],"v":{},"t":"now"}]',
        b'[{"n":"p1/temperature","u":"Cel","v":1e999,"t":1}]',
        b'[{"n":"p1/temperature","u":"Cel","v":NaN}]',
        b'[{"n":"p1/mood","u":"Cel","v":1}]',
        b'[{"n":"../../temperature","u":"Cel","v":1}]',
        b'[{"bn":{"deep":1},"n":"p1/temperature","u":"Cel","v":1}]',
        b'[{"n":"p1/temperature","u":"Cel","v":1,"must_":1}]',
        b'[{"n":"p1/temperature","u":"\\ud800","v":1}]',
    ],
)
def test_odd_items_are_refused_with_a_reason(payload: bytes, lab: TestRoom, door: MqttDoor, board: Speaker) -> None:
    """Wrong types, numbers that are none, names that are none."""
    board.say(READINGS, payload)
    answer = board.hear(KEPT)
    assert (answer["status"], answer["accepted"], len(answer["refused"])) == (200, 0, 1)
    assert answer["refused"][0]["reason"]
    assert kept(lab) == []


@pytest.mark.parametrize("level", ["no such probe!", "-", "a" * 65, "é"])
def test_a_topic_that_names_no_probe_is_turned_away(level: str, door: MqttDoor, board: Speaker) -> None:
    """It could not be shown or claimed."""
    board.say(f"intermolt/test-room/{level}/readings", pack(25.0))
    assert board.hear(f"intermolt/test-room/{level}/kept")["status"] == 400
    assert door.counts["No probe's topic"] == 1


def test_readings_of_a_probe_nobody_described_are_kept_and_shown(lab: TestRoom, door: MqttDoor, board: Speaker) -> None:
    """As unclaimed."""
    board.say("intermolt/test-room/stray-7/readings", pack(24.0, probe="stray-7"))
    assert board.hear("intermolt/test-room/stray-7/kept")["accepted"] == 1
    assert [one.probe for one in lab.service.read.room(NOW_MS).unclaimed] == ["stray-7"]


def test_quality_0_and_retained_packs_are_kept_too(lab: TestRoom, door: MqttDoor, board: Speaker) -> None:
    """A simple board may know nothing else."""
    board.say(READINGS, pack(25.0), qos=0)
    assert board.hear(KEPT)["accepted"] == 1
    board.say(READINGS, pack(26.0, first_ms=NOW_MS - 60_000), retain=True)
    assert board.hear(KEPT)["accepted"] == 1
    board.say(READINGS, b"", retain=True)


def test_a_collectors_word_of_itself_is_kept_and_answered(lab: TestRoom, door: MqttDoor, board: Speaker) -> None:
    """As over HTTP; what is none is turned away."""
    status, answers = "intermolt/test-room/collector/shed/status", "intermolt/test-room/collector/shed/kept"
    word = {"spool": {"waiting": 3, "dropped": 0, "refused": 0, "trouble": None}, "ports": []}
    board.say(status, json.dumps(word).encode())
    assert board.hear(answers)["status"] == 200
    assert [(one.name, one.waiting) for one in lab.service.read.room(NOW_MS).collectors] == [("shed", 3)]
    for wrong in (b"[" * 90_000, b'{"spool": [], "ports": 1}', b'{"spool": {"waiting": -1}, "ports": []}'):
        board.say(status, wrong)
        assert board.hear(answers)["status"] == 400
    assert door.counts["Not a collector's status"] == 3


def test_an_answer_goes_where_version_5_asks_but_only_to_places_for_answers(lab: TestRoom, broker: Mosquitto) -> None:
    """Else a sender could make the service speak on topics it may not use itself, or answer itself for ever."""
    door = door_of(lab, broker.port)
    door.start()
    with Speaker(broker.port) as board:
        until(lambda: door.health() == "well")
        mine = "intermolt/test-room/collector/shed/kept"
        board.say(READINGS, pack(25.0), answer=mine, word=b"my word")
        assert board.hear(mine)["accepted"] == 1
        assert board.correlations[-1] == b"my word"
        for foreign in (
            READINGS,
            HERE,
            "another/tenant/kept",
            "intermolt/other-room/p1/kept",
            "intermolt/test-room/kept",
        ):
            board.say(READINGS, pack(25.0), answer=foreign)
            assert board.hear(KEPT)["duplicate"] == 1
        answers = [topic for topic, payload in board.heard if b'"pack"' in payload]
        assert set(answers) == {mine, KEPT}
    door.stop()


def test_the_service_says_that_it_is_here_and_that_it_goes(lab: TestRoom, door: MqttDoor, board: Speaker) -> None:
    """Retained, so that a collector that comes later knows it too."""
    until(lambda: (HERE, b"here") in board.heard)
    door.stop()
    until(lambda: (HERE, b"gone") in board.heard)


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


@pytest.mark.parametrize(
    ("name", "level"),
    [
        ("Test room", "test-room"), ("  Zucht / Räume #3+ ", "zucht-raume-3"), ("$SYS/#", "sys"), ("a" * 99, "a" * 64),
    ],
)  # fmt: skip
def test_a_rooms_name_becomes_one_level_without_wildcards(name: str, level: str) -> None:
    """Both ends work it out alone."""
    assert room_level(name) == level


@pytest.mark.parametrize("name", ["+", "#", "/", "", "水族館", "\ud800", "..."])
def test_a_name_without_any_usable_letter_still_gives_a_level_of_its_own(name: str) -> None:
    """Never empty, never a wildcard."""
    level = room_level(name)
    assert level.startswith("room-")
    assert Topics(level).probe_of(f"intermolt/{level}/p1/readings") == "p1"
