"""Probes on a real MQTT broker: their messages come once each, whatever is cut, killed or started again."""

from __future__ import annotations

import time
import tracemalloc
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from paho.mqtt.client import DisconnectFlags
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.reasoncodes import ReasonCode

from api.domain.errors import RoomFileError
from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from api.domain.senml import encode
from collector.clock import now_ms
from collector.config import load_config
from collector.drivers import mqtt_link
from collector.drivers.base import Batch
from collector.errors import PortReason, PortTrouble
from tests.support.broker import Broker
from tests.support.mqtt_drivers import Listening, value
from tests.support.tcp_proxy import TcpProxy

BOTH = pytest.mark.parametrize("version", ["5", "3.1.1"])


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    """A broker that lets everybody in."""
    with Broker(tmp_path / "broker") as running:
        yield running


@BOTH
def test_numbers_json_and_senml(broker: Broker, tmp_path: Path, version: str) -> None:
    """Each in the unit of the room file, or in its own; with the present, or its own time."""
    bare = Listening(tmp_path, broker.port, topic="a", version=version, client_id="a", decimal=",")
    pointed = [value(pointer="/water/t"), value(Quantity.OXYGEN, "mg/L", pointer="/water/o2")]
    document = Listening(tmp_path, broker.port, *pointed, topic="b", version=version, client_id="b", time_pointer="/at")
    pack = Listening(tmp_path, broker.port, topic="c", version=version, client_id="c", payload="senml")
    before_ms = now_ms()
    for one in (bare, document, pack):
        one.open()
    with broker.publisher() as publisher:
        publisher.say("a", " 24,31 ")
        publisher.say("b", '{"at": "2031-05-04T03:10:00Z", "water": {"t": 24.31, "o2": 7.82}}')
        publisher.say("c", encode([RawReading("p1", Quantity.TEMPERATURE, 1_935_630_600_000, 297.46, "K")]))
    assert bare.listen() == [24.31]
    assert before_ms <= bare.kept[0].time_ms <= now_ms()
    assert document.listen() == [24.31, 7.82]
    assert {reading.time_ms for reading in document.kept} == {1_935_630_600_000}
    assert pack.listen() == [297.46]
    assert (pack.kept[0].unit, pack.kept[0].time_ms) == ("K", 1_935_630_600_000)
    for one in (bare, document, pack):
        one.driver.close()


@BOTH
def test_values_on_topics_of_their_own(broker: Broker, tmp_path: Path, version: str) -> None:
    """One message a value, each with its own time."""
    values = value(topic="t/temperature"), value(Quantity.PH, "pH", topic="t/ph")
    probe = Listening(tmp_path, broker.port, *values, version=version)
    probe.open()
    with broker.publisher() as publisher:
        publisher.say("t/ph", "7.5", qos=0)
        publisher.say("t/temperature", "24.31")
        publisher.say("t/1", "1.0")
    assert probe.listen() == [7.5, 24.31]
    assert [reading.quantity for reading in probe.kept] == [Quantity.PH, Quantity.TEMPERATURE]
    assert probe.unreadable == 0
    probe.driver.close()


@BOTH
def test_what_was_not_acknowledged_comes_again_and_is_kept_once(broker: Broker, tmp_path: Path, version: str) -> None:
    """A crash after the commit and before the acknowledgement, and one before the commit."""
    probe = Listening(tmp_path, broker.port, version=version)
    probe.open()
    broker.publish("t/1", "1.0")
    committed = probe.driver.read(2.0)
    probe.keep(committed)
    probe.open()
    broker.publish("t/1", "2.0")
    lost = probe.driver.read(2.0)
    assert [reading.value for reading in committed.readings] == [1.0]
    assert [reading.value for reading in lost.readings] in ([2.0], [])
    probe.open()
    broker.publish("t/1", "3.0")
    probe.listen(until=2)
    probe.listen()
    assert sorted(reading.value for reading in probe.kept) == [1.0, 2.0, 3.0]
    probe.open()
    assert probe.listen() == [], "all was acknowledged: nothing comes again"
    assert probe.unreadable == 0
    probe.driver.close()


@BOTH
def test_a_broker_killed_and_started_again(broker: Broker, tmp_path: Path, version: str) -> None:
    """It holds the session and its messages on its disk; the driver says that it is gone, and comes back."""
    probe = Listening(tmp_path, broker.port, version=version)
    probe.open()
    broker.publish("t/1", "1.0")
    assert probe.listen(until=1) == [1.0]
    broker.kill()
    with pytest.raises(PortTrouble, match="the connection was lost") as gone:
        probe.listen(5.0)
    with pytest.raises(PortTrouble, match="is the broker running, on this port") as missing:
        probe.open()
    assert (gone.value.reason, missing.value.reason) == (PortReason.UNPLUGGED, PortReason.MISSING)
    broker.start()
    broker.publish("t/1", "2.0")
    broker.stop()
    broker.start()
    probe.open()
    broker.publish("t/1", "3.0")
    assert probe.listen(until=2) == [2.0, 3.0]
    probe.driver.close()


def _go_on(probe: Listening, batch: Batch) -> None:
    probe.driver.acknowledge(batch)
    probe.listen(5.0)


@BOTH
def test_a_network_that_is_cut_and_mended(broker: Broker, tmp_path: Path, version: str) -> None:
    """In the middle of five hundred messages, several times; each is kept once."""
    with TcpProxy(broker.port) as network, broker.publisher() as publisher:
        probe = Listening(tmp_path, network.port, version=version)
        probe.open()
        publisher.say_all("t/1", [str(number) for number in range(500)])
        for _ in range(6):
            batch = probe.driver.read(1.0)
            probe.keep(batch)
            network.cut()
            with pytest.raises(PortTrouble):
                _go_on(probe, batch)
            network.mend()
            probe.open()
        while len(probe.kept) < 500:
            assert probe.listen(1.0), f"{len(probe.kept)} of 500 came"
        assert probe.listen() == []
        assert sorted(reading.value for reading in probe.kept) == [float(number) for number in range(500)]
        assert len({reading.time_ms for reading in probe.kept}) == 500
        probe.driver.close()


def test_a_network_that_swallows_everything_is_noticed(
    broker: Broker, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nobody hangs up: only the broker's silence tells."""
    monkeypatch.setattr(mqtt_link, "KEEPALIVE_S", 1)
    with TcpProxy(broker.port) as network:
        probe = Listening(tmp_path, network.port)
        probe.open()
        network.hold()
        with pytest.raises(PortTrouble, match="the connection was lost"):
            probe.listen(10.0)
        network.mend()
        probe.open()
        broker.publish("t/1", "1.0")
        assert probe.listen(until=1) == [1.0]
        probe.driver.close()


@BOTH
def test_what_waited_long_without_a_time_is_counted_what_has_one_is_read(
    broker: Broker, tmp_path: Path, version: str
) -> None:
    """A night's messages must not all be dated this morning."""
    clock = [now_ms()]
    bare = Listening(tmp_path, broker.port, topic="a", version=version, client_id="a", now=lambda: clock[0])
    timed = Listening(
        tmp_path, broker.port, value(pointer="/t"), topic="b", version=version, client_id="b", time_pointer="/at",
        time_format="unix", now=lambda: clock[0],
    )  # fmt: skip
    bare.open()
    timed.open()
    broker.publish("a", "1.0")
    assert bare.listen(until=1) == [1.0]
    bare.driver.close()
    timed.driver.close()
    with broker.publisher() as publisher:
        publisher.say_all("a", ["2.0"] * 50)
        publisher.say_all("b", [f'{{"at": {1_935_630_600 + number}, "t": {number}}}' for number in range(50)])
    clock[0] += 8 * 3_600_000
    bare.open()
    timed.open()
    assert timed.listen(until=50) == [float(number) for number in range(50)]
    assert bare.listen(1.5) == []
    assert bare.unreadable == 50
    assert "waited at the broker while nobody listened" in bare.reasons[-1]
    for _ in range(2):
        assert bare.driver.read(0.7).empty
    broker.publish("a", "3.0")
    assert bare.listen(until=1) == [3.0]
    bare.driver.close()
    timed.driver.close()


@BOTH
def test_retained_messages_are_old_news_unless_they_say_when(broker: Broker, tmp_path: Path, version: str) -> None:
    """The broker gives its last one to everybody who comes."""
    broker.publish("a", "1.0", retain=True)
    broker.publish("b", '{"at": 1935630600, "t": 2.0}', retain=True)
    bare = Listening(tmp_path, broker.port, topic="a", version=version, client_id="a")
    timed = Listening(
        tmp_path, broker.port, value(pointer="/t"), topic="b", version=version, client_id="b", time_pointer="/at",
        time_format="unix",
    )  # fmt: skip
    bare.open()
    timed.open()
    assert (bare.listen(), bare.unreadable, "retained" in bare.reasons[0]) == ([], 1, True)
    assert timed.listen(until=1) == [2.0]
    broker.publish("a", "3.0", retain=True)
    assert bare.listen(until=1) == [3.0], "published while we listen: now"
    bare.driver.close()
    timed.driver.close()


HOSTILE: list[str | bytes] = [
    "", "ERR", "NaN", "true", "null", "{}", "[" * 50_000, b"\xff\xfe\x00", b"\x00", "1" * 70_000, "1e999", "24.31 Cel",
]  # fmt: skip


@BOTH
def test_hostile_messages_are_counted_and_the_next_good_one_is_read(
    broker: Broker, tmp_path: Path, version: str
) -> None:
    """They are acknowledged too, or they would come again for ever."""
    probe = Listening(tmp_path, broker.port, version=version)
    probe.open()
    with broker.publisher() as publisher:
        for payload in HOSTILE:
            publisher.say("t/1", payload)
        publisher.say("t/1", "24.31")
    assert probe.listen(until=1) == [24.31]
    assert probe.unreadable == len(HOSTILE)
    time.sleep(0.5)  # the broker saves its store after each acknowledgement
    probe.open()
    assert probe.listen() == []
    assert probe.unreadable == len(HOSTILE)
    probe.driver.close()


@BOTH
def test_a_message_of_twenty_megabytes_takes_no_memory(broker: Broker, tmp_path: Path, version: str) -> None:
    """Its tail is let go as it comes; it is counted, acknowledged, and the next is read."""
    probe = Listening(tmp_path, broker.port, version=version)
    probe.open()
    broker.publish("t/1", b"1" * 20_000_000)
    tracemalloc.start()
    broker_gone = probe.driver.read(5.0)
    while broker_gone.empty:
        broker_gone = probe.driver.read(5.0)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    probe.keep(broker_gone)
    probe.driver.acknowledge(broker_gone)
    assert (broker_gone.readings, broker_gone.unreadable) == ((), 1)
    assert "has more than 65536 bytes" in broker_gone.last_unreadable
    assert peak < 1_000_000
    broker.publish("t/1", "24.31")
    assert probe.listen(until=1) == [24.31]
    probe.driver.close()


@BOTH
def test_a_flood_is_taken_in_portions(broker: Broker, tmp_path: Path, version: str) -> None:
    """What was not read yet stays with the broker."""
    probe = Listening(tmp_path, broker.port, version=version)
    probe.open()
    with broker.publisher() as publisher:
        publisher.say("t/1", "-1")
        assert probe.listen(until=1) == [-1]
        publisher.say_all("t/1", [str(number) for number in range(1000)])
    assert 0 < len(probe.driver.read(1.0).readings) <= mqtt_link.MOST_MESSAGES
    probe.open()
    while len(probe.kept) < 1001:
        assert probe.listen(1.0)
    assert sorted(reading.value for reading in probe.kept) == [float(number) for number in range(-1, 1000)]
    probe.driver.close()


@BOTH
def test_a_topic_of_yesterday_is_given_up(broker: Broker, tmp_path: Path, version: str) -> None:
    """The broker remembers what we listened to before the room file was changed."""
    old = Listening(tmp_path, broker.port, topic="old", version=version, client_id="x")
    old.open()
    old.driver.close()
    new = Listening(tmp_path, broker.port, topic="new", version=version, client_id="x")
    new.open()
    broker.publish("old", "1.0")
    assert (new.listen(), new.unreadable) == ([], 1)
    assert new.reasons == ["old: is a topic this probe does not listen to any more; unsubscribed"]
    broker.publish("old", "1.0")
    broker.publish("new", "2.0")
    assert (new.listen(), new.unreadable) == ([2.0], 1)
    new.driver.close()


@BOTH
def test_a_password_is_needed_and_kept_in_a_file(tmp_path: Path, version: str) -> None:
    """Each refusal says what to check."""
    (tmp_path / "password").write_text("salt marsh\n")
    with Broker(tmp_path / "broker", users={"probe": "salt marsh"}) as broker:
        known: dict[str, Any] = {"user": "probe", "password_file": "password", "version": version}
        probe = Listening(tmp_path, broker.port, **known)
        probe.open()
        with broker.publisher("probe", "salt marsh") as publisher:
            publisher.say("t/1", "24.31")
        assert probe.listen(until=1) == [24.31]
        probe.driver.close()
        strangers: list[tuple[dict[str, Any], str]] = [
            ({"user": "probe", "password": "wrong"}, "lets user 'probe' not in"),
            ({}, "lets who gives no user name not in"),
            ({"user": "probe", "password_file": "nothing"}, "nothing in .* cannot be used"),
        ]
        for keys, words in strangers:
            stranger = Listening(tmp_path, broker.port, version=version, **keys)
            with pytest.raises(PortTrouble, match=words):
                stranger.open()
            stranger.driver.close()


def test_a_topic_that_is_not_allowed(broker: Broker, tmp_path: Path) -> None:
    """This broker keeps such a refusal to itself, so the standard's answer (MQTT 5, 3.9.3) is put to the driver."""
    probe = Listening(tmp_path, broker.port, value(topic="a"), value(Quantity.PH, "pH", topic="b"))
    probe.open()
    link = probe.driver._link
    assert link is not None
    granted, refused = (ReasonCode(PacketTypes.SUBACK, identifier=number) for number in (1, 135))
    link._subscribed(link._client, None, 1, [granted, refused], None)
    with pytest.raises(PortTrouble, match="does not let us listen to b; check the broker's access list") as caught:
        probe.listen()
    assert caught.value.reason is PortReason.REFUSED
    probe.driver.close()


@BOTH
def test_tls_and_every_way_it_fails(tmp_path: Path, version: str) -> None:
    """The right authority, none, and TLS on one side only."""
    with Broker(tmp_path / "tls", tls=True) as secret, Broker(tmp_path / "plain") as plain:
        keys: dict[str, Any] = {"host": "localhost", "version": version}
        probe = Listening(tmp_path, secret.port, tls=True, ca_file=str(secret.authority), **keys)
        probe.open()
        secret.publish("t/1", "24.31")
        assert probe.listen(until=1) == [24.31]
        with secret.publisher() as publisher:
            publisher.say_all("t/1", [str(number) for number in range(100)])
        assert len(probe.listen(until=100)) == 100
        probe.driver.close()
        for port, more, words in (
            (secret.port, {"tls": True}, "certificate is not to be trusted .*; check ca_file"),
            (secret.port, {}, "hung up before it had answered; does it want tls"),
            (plain.port, {"tls": True}, "does not speak TLS there|cannot be reached"),
            (secret.port, {"tls": True, "ca_file": "nothing"}, "nothing in .* cannot be used"),
        ):
            stranger = Listening(tmp_path, port, **keys, **more)
            with pytest.raises(PortTrouble, match=words):
                stranger.open()
            stranger.driver.close()


def test_two_with_one_name_are_told(broker: Broker, tmp_path: Path) -> None:
    """A broker lets only one in; what MQTT 5 says to the other (3.14.2.1) this broker does not, so it is put to it."""
    first = Listening(tmp_path, broker.port, client_id="x")
    second = Listening(tmp_path, broker.port, client_id="x")
    first.open()
    link = first.driver._link
    second.open()
    with pytest.raises(PortTrouble, match="the connection was lost"):
        first.listen(5.0)
    first.open()
    link = first.driver._link
    assert link is not None
    taken = ReasonCode(PacketTypes.DISCONNECT, identifier=142)
    link._disconnected(link._client, None, DisconnectFlags(is_disconnect_packet_from_server=True), taken, None)
    with pytest.raises(PortTrouble, match="the same client_id; give this probe one of its own") as caught:
        first.listen(5.0)
    assert caught.value.reason is PortReason.BUSY
    first.driver.close()
    second.driver.close()


def test_a_name_that_leads_nowhere(tmp_path: Path) -> None:
    """No computer of this name."""
    probe = Listening(tmp_path, 1883, host="nowhere.invalid")
    with pytest.raises(PortTrouble, match="no computer of this name is known"):
        probe.open()


HEAD = '[room]\nname = "r"\nzone = "UTC"\n'
PROBE = """[[probe]]
id = "p1"
driver = "mqtt_topics"
topic = "t/1"
[[probe.value]]
quantity = "temperature"
unit = "Cel"
"""
MISTAKES = [
    ('topic = "t/1"\n', "", "temperature has no topic"),
    ('topic = "t/1"', 'topic = "t/+"', "topic = 't/+' is not one topic"),
    ('topic = "t/1"', 'topic = "$SYS/x"', "is not one topic"),
    ('unit = "Cel"', 'unit = "Cel"\nfield = 1', "A message has topic and pointer instead"),
    ('unit = "Cel"', 'unit = "Cel"\npointer = "t"', "pointer = 't' begins with no slash"),
    ('topic = "t/1"', 'topic = "t/1"\npayload = "json"', "temperature has no pointer"),
    ('unit = "Cel"', 'unit = "Cel"\n[[probe.value]]\nquantity = "ph"\nunit = "pH"', "told apart by nothing"),
    ('topic = "t/1"', 'topic = "t/1"\ntime_pointer = "/t"', "time_pointer is for JSON messages only"),
    ('topic = "t/1"', 'topic = "t/1"\nuser = "me"', "user is of a broker, but no host is named"),
    ('topic = "t/1"', 'topic = "t/1"\nhost = "h"\npassword = "x"', "has a password, but no user"),
    ('topic = "t/1"', 'topic = "t/1"\nhost = ""', "host is empty"),
    ('topic = "t/1"', 'topic = "t/1"\nclient_id = ""', "client_id is not usable"),
]


@pytest.mark.parametrize(("right", "wrong", "words"), MISTAKES)
def test_a_mistake_names_its_line(tmp_path: Path, right: str, wrong: str, words: str) -> None:
    """And what to write."""
    path = tmp_path / "room.toml"
    assert right in PROBE
    path.write_text(HEAD + PROBE.replace(right, wrong, 1))
    with pytest.raises(RoomFileError, match="line ") as caught:
        load_config(path)
    assert words in str(caught.value)


def test_the_rooms_broker_is_everybodys_unless_a_probe_names_its_own(tmp_path: Path) -> None:
    """And no password goes to a host it was not written for."""
    path = tmp_path / "room.toml"
    shared = '[room.mqtt]\nhost = "hall"\nport = 1884\nuser = "me"\npassword = "word"\nversion = "3.1.1"\n'
    own = PROBE.replace("p1", "p2").replace('topic = "t/1"', 'topic = "t/1"\nhost = "own"')
    path.write_text(HEAD + shared + PROBE + own)
    first, second = (checked.driver(checked.probe, checked.options, None) for checked in load_config(path).probes)  # type: ignore[arg-type]
    assert (first._broker.host, first._broker.port, first._broker.password) == ("hall", 1884, "word")  # type: ignore[attr-defined]
    assert (second._broker.host, second._broker.port, second._broker.password) == ("own", 1883, "")  # type: ignore[attr-defined]
    assert (first._broker.version, second._broker.version) == ("3.1.1", "5")  # type: ignore[attr-defined]
    path.write_text(HEAD + PROBE)
    (alone,) = load_config(path).probes
    assert (alone.options["host"], alone.options["port"]) == ("127.0.0.1", 1883)
