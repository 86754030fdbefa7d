"""The service's door at a real broker: what comes is kept and answered, what cannot be used is answered and counted."""

from __future__ import annotations

import json

import pytest

from api.domain.topics import pack_id
from api.mqtt.door import MOST_BYTES, MqttDoor
from tests.support.door_room import HERE, KEPT, READINGS, board, broker, door, door_of, kept, lab, pack, until, version
from tests.support.mosquitto import Mosquitto
from tests.support.mqtt_speaker import Speaker
from tests.support.rooms import NOW_MS, TestRoom

__all__ = ["board", "broker", "door", "lab", "version"]


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
