"""Probes on a real MQTT broker: their messages come once each, whatever is cut, killed or started again."""

from __future__ import annotations

import time
import tracemalloc
from collections.abc import Iterator
from pathlib import Path

import pytest

from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from api.domain.senml import encode
from collector.clock import now_ms
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
