"""The way to a broker: passwords, TLS, access lists, names, and the keys of the room file that describe it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from paho.mqtt.client import DisconnectFlags
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.reasoncodes import ReasonCode

from api.domain.errors import RoomFileError
from api.domain.quantity import Quantity
from collector.config import load_config
from collector.errors import PortReason, PortTrouble
from tests.support.broker import Broker
from tests.support.mqtt_drivers import Listening, value

BOTH = pytest.mark.parametrize("version", ["5", "3.1.1"])


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    """A broker that lets everybody in."""
    with Broker(tmp_path / "broker") as running:
        yield running


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
