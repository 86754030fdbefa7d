"""The uplink through a real broker, against a service that misbehaves and a network that breaks."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from api.domain.errors import InputError
from api.domain.tank import Mqtt
from api.domain.topics import Topics
from collector.backoff import Backoff
from collector.config import load_config
from collector.errors import ServiceTrouble
from collector.mqtt_line import Broker
from collector.mqtt_service import MqttService, packs_of
from collector.runner import Runner
from collector.spool import Spool
from collector.uplink import Uplink
from tests.collector.conftest import Until, readings
from tests.support.mosquitto import Mosquitto, certificates
from tests.support.mqtt_answerer import (
    Answerer,
    Misbehaviour,
    counted,
    forget_to_answer,
    said,
    silent,
    status,
)
from tests.support.mqtt_speaker import Speaker
from tests.support.tcp_proxy import TcpProxy

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


def test_packs_hold_one_probe_each_in_its_order() -> None:
    """At most so many readings, and every place once."""
    mixed = [reading for pair in zip(readings(5), readings(5, probe="p2"), strict=True) for reading in pair]
    packs = packs_of(mixed, 3, Topics("trial"))
    assert [(pack.topic.split("/")[2], pack.places) for pack in packs] == [
        ("p1", (0, 2, 4)), ("p1", (6, 8)), ("p2", (1, 3, 5)), ("p2", (7, 9)),
    ]  # fmt: skip
    assert len({pack.id for pack in packs}) == 4


def test_readings_arrive_in_order_and_leave_the_spool_when_answered(
    version: str, spool: Spool, broker: Mosquitto, answerer: Answerer, data: Path, until: Until
) -> None:
    """Each under its probe's topic."""
    for n in range(100):
        spool.keep([*readings(2, 2 * n), *readings(2, 2 * n, "p2")])
    with running(spool, service_of(broker.port, data, version)) as uplink:
        until(lambda: spool.waiting() == 0 and uplink.delivered.done == 400)
        assert (uplink.delivered.accepted, uplink.trouble) == (400, "")
    for probe in ("p1", "p2"):
        mine = [time_s for name, time_s in answerer.order if name == f"{probe}/temperature"]
        assert mine == [reading.time_ms / 1000 for reading in readings(200)]
    assert {topic for topic, _ in answerer.packs} == {"intermolt/trial/p1/readings", "intermolt/trial/p2/readings"}
    assert answerer.duplicates == 0


@pytest.mark.parametrize(
    "misbehaviour",
    [
        status(503),
        status(500),
        counted({"accepted": 1, "duplicate": 0, "refused": []}),
        counted({"accepted": 5, "duplicate": 0, "refused": [{"index": 99, "reason": "?"}]}),
        counted({"accepted": True, "duplicate": 0, "refused": []}),
        counted({"accepted": -1, "duplicate": 9, "refused": None}),
        counted({}),
        counted({"status": "fine"}),
        counted({"status": None, "accepted": 5, "duplicate": 0, "refused": []}),
        said(b"\xff\xfe"),
        said(b"[" * 50_000),
        said([1, 2]),
        said({"pack": 7}),
        said({"pack": "0" * 32, "status": 200, "accepted": 5, "duplicate": 0, "refused": []}),
        silent,
        forget_to_answer,
    ],
)
def test_whatever_else_is_answered_readings_stay_and_are_tried_again(
    misbehaviour: Misbehaviour, version: str, spool: Spool, broker: Mosquitto, answerer: Answerer, data: Path,
    until: Until,
) -> None:  # fmt: skip
    """Only the service's own answer to this very pack, accounting for every reading, empties the spool."""
    spool.keep(readings(5))
    answerer.script.extend([misbehaviour, misbehaviour])
    with running(spool, service_of(broker.port, data, version)):
        until(lambda: spool.waiting() == 0)
    assert len(answerer.records) == 5
    assert not answerer.script
    assert spool.state().refused == 0


def test_only_what_was_not_answered_is_sent_again(
    version: str, spool: Spool, broker: Mosquitto, answerer: Answerer, data: Path, until: Until
) -> None:
    """One pack of four falls on the way."""
    spool.keep([reading for probe in ("p1", "p2", "p3", "p4") for reading in readings(10, probe=probe)])
    answerer.script.extend([forget_to_answer])
    with running(spool, service_of(broker.port, data, version)) as uplink:
        until(lambda: spool.waiting() == 0)
        until(lambda: uplink.delivered.done == 40)
        assert (uplink.delivered.accepted, uplink.delivered.duplicate) == (30, 10)
    assert (len(answerer.records), answerer.duplicates) == (40, 10)


def test_refused_readings_are_set_aside_with_the_services_reason(
    version: str, spool: Spool, broker: Mosquitto, answerer: Answerer, data: Path, until: Until
) -> None:
    """The right ones of several packs."""
    spool.keep([reading for n in range(10) for probe in ("p1", "p2") for reading in readings(1, n, probe)])
    answerer.refuse = lambda record: "too warm" if record["v"] == 20.003 and record["n"][:2] == "p2" else ""
    with running(spool, service_of(broker.port, data, version)) as uplink:
        until(lambda: uplink.delivered.done == 20)
        assert (uplink.delivered.accepted, uplink.delivered.refused) == (19, 1)
        assert uplink.delivered.last_refused == "too warm"
    assert (len(answerer.records), spool.waiting(), spool.state().refused) == (19, 0, 1)


def test_one_poisonous_reading_is_found_and_the_rest_go_on(
    spool: Spool, broker: Mosquitto, answerer: Answerer, data: Path, until: Until
) -> None:
    """A pack answered 400 is sent singly; packs beside it are not sent again."""

    def poisoned(answerer: Answerer, topic: str, payload: bytes) -> bool:
        return b"20.007" in payload and b"p2" in payload and status(400)(answerer, topic, payload)

    answerer.always = poisoned
    spool.keep([reading for probe in ("p1", "p2", "p3") for reading in readings(10, probe=probe)])
    with running(spool, service_of(broker.port, data)):
        until(lambda: spool.waiting() == 0)
    assert len(answerer.records) == 29
    assert (spool.state().refused, answerer.duplicates) == (1, 0)


def test_a_pack_that_is_too_large_is_halved(
    spool: Spool, broker: Mosquitto, answerer: Answerer, data: Path, until: Until
) -> None:
    """Until the service takes it."""

    def narrow(answerer: Answerer, topic: str, payload: bytes) -> bool:
        return payload.count(b'"n"') > 10 and status(413)(answerer, topic, payload)

    answerer.always = narrow
    spool.keep(readings(100))
    with running(spool, service_of(broker.port, data)):
        until(lambda: spool.waiting() == 0)
    assert len(answerer.records) == 100
    assert spool.state().refused == 0


def test_the_same_reading_twice_in_the_spool_is_answered_twice(
    spool: Spool, broker: Mosquitto, answerer: Answerer, data: Path, until: Until
) -> None:
    """Two packs of the same content have the same name and go one after the other."""
    spool.keep([*readings(50), *readings(50)])
    with running(spool, service_of(broker.port, data)) as uplink:
        until(lambda: spool.waiting() == 0)
        assert (uplink.delivered.accepted, uplink.delivered.duplicate) == (50, 50)


def test_while_the_service_is_gone_nothing_is_sent_and_it_is_told(
    version: str, spool: Spool, broker: Mosquitto, data: Path, until: Until
) -> None:
    """A broker would keep some packs for it and let others fall; they wait in the spool instead."""
    with Answerer(broker.port):
        pass
    spool.keep(readings(5))
    with running(spool, service_of(broker.port, data, version)) as uplink:
        until(lambda: "the service is not connected" in uplink.trouble)
        with Answerer(broker.port) as back:
            until(lambda: spool.waiting() == 0)
            assert (len(back.records), back.duplicates) == (5, 0)


def test_reports_go_through_the_broker_too(version: str, broker: Mosquitto, answerer: Answerer, data: Path) -> None:
    """And fail like any other when nobody answers."""
    service = service_of(broker.port, data, version)
    service.put_status("main", {"spool": {"waiting": 1}})
    assert answerer.statuses == [("intermolt/trial/collector/main/status", {"spool": {"waiting": 1}})]
    service.close()
    with pytest.raises(ServiceTrouble, match="closed by ourselves"):
        service.put_status("main", {})


def test_it_is_known_whether_the_collector_is_connected(
    version: str, broker: Mosquitto, answerer: Answerer, data: Path, until: Until
) -> None:
    """Said when it comes and when it goes, and by the broker when its line breaks."""
    with Speaker(broker.port, hears=STATE) as ear, TcpProxy(broker.port) as proxy:
        service = service_of(proxy.port, data, version)
        service.post(readings(1))
        until(lambda: ear.heard[-1:] == [(STATE, b"here")])
        service.close()
        until(lambda: ear.heard[-1:] == [(STATE, b"gone")])
        service = service_of(proxy.port, data, version)
        service.post(readings(1))
        until(lambda: ear.heard[-1:] == [(STATE, b"here")])
        proxy.cut()
        until(lambda: ear.heard[-1:] == [(STATE, b"gone")])
        service.close()


def test_a_network_that_is_cut_held_and_mended_loses_and_doubles_nothing(
    version: str, spool: Spool, broker: Mosquitto, answerer: Answerer, data: Path, until: Until
) -> None:
    """Cut between two packs, in the middle of them, and held up without a word."""
    with TcpProxy(broker.port) as proxy, running(spool, service_of(proxy.port, data, version)) as uplink:
        for round_number in range(6):
            spool.keep(readings(300, 300 * round_number))
            if round_number % 3 == 2:
                proxy.hold()
                until(lambda: uplink.trouble)
            elif round_number % 3 == 1:
                proxy.cut()
                until(lambda: uplink.trouble)
            proxy.mend()
            until(lambda: spool.waiting() == 0)
        until(lambda: uplink.trouble == "")
    assert len(answerer.records) == 1800


def test_a_broker_that_is_killed_and_comes_back_loses_nothing(
    version: str, spool: Spool, data: Path, tmp_path: Path, until: Until
) -> None:
    """What it held in memory is gone with it; the spool still has it."""
    with Mosquitto(tmp_path / "broker") as broker, Answerer(broker.port) as answerer:
        answerer.client.reconnect_delay_set(1, 1)
        with running(spool, service_of(broker.port, data, version)) as uplink:
            for n in range(3):
                spool.keep(readings(500, 500 * n))
                broker.kill()
                until(lambda: uplink.trouble)
                broker.start()
                until(lambda: spool.waiting() == 0)
    assert len(answerer.records) == 1500


# the MQTT library leaves the closing of a socket whose handshake failed to the garbage collector
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
def test_tls_and_a_password_file(tmp_path: Path) -> None:
    """Named in the room file relative to it; a stranger's certificate and a wrong password are told."""
    authority, certificate, key = certificates(tmp_path / "right")
    stranger, _, _ = certificates(tmp_path / "stranger")
    extra = f"certfile {certificate}\nkeyfile {key}\nset_tcp_nodelay true"
    (tmp_path / "secret").write_text("plain sailing\n", encoding="utf-8")
    (tmp_path / "other").write_text("wrong\n", encoding="utf-8")
    with Mosquitto(tmp_path / "broker", extra=extra, users={"collector": "plain sailing"}) as broker:
        ways: dict[str, Any] = {"user": "collector", "host": "localhost", "tls": True}
        for trusted, secret, words in (
            (stranger, "other", "certificate verify failed"),
            (authority, "other", "lets us not in"),
            (authority, "secret", "no answer from the service"),
        ):
            files: dict[str, Any] = {"ca_file": str(trusted.relative_to(tmp_path)), "password_file": secret}
            service = service_of(broker.port, tmp_path, **ways, **files)
            with pytest.raises(ServiceTrouble, match=words):
                service.post(readings(1))
            service.close()


ROOM = """
[room]
name = "Trial"
zone = "UTC"
[room.collector]
uplink = "mqtt"
[room.mqtt]
port = {port}
{more}
"""


def test_the_room_file_chooses_the_broker(broker: Mosquitto, answerer: Answerer, tmp_path: Path, until: Until) -> None:
    """Readings and reports of a whole collector."""
    path = tmp_path / "room.toml"
    path.write_text(ROOM.format(port=broker.port, more=""), encoding="utf-8")
    (tmp_path / "data").mkdir()
    runner = Runner(load_config(path, tmp_path / "data"))
    runner.spool.keep(readings(3))
    runner.start()
    until(lambda: len(answerer.records) == 3 and answerer.statuses)
    assert set(json.loads(json.dumps(answerer.statuses[0][1]))) >= {"spool", "ports"}
    runner.stop()


@pytest.mark.parametrize(
    ("more", "name", "words"),
    [('password_file = "none"', "main", "none in .* cannot be used"), ("", "a/b", "cannot stand in a topic")],
)
def test_what_cannot_be_used_is_told_at_the_start(more: str, name: str, words: str, tmp_path: Path) -> None:
    """Before any port is opened."""
    path = tmp_path / "room.toml"
    path.write_text(ROOM.format(port=1, more=more), encoding="utf-8")
    with pytest.raises(InputError, match=words):
        Runner(load_config(path, tmp_path), name)


def test_a_probe_that_sends_by_itself_is_left_alone(tmp_path: Path) -> None:
    """It is described for its tank's sake; a key of some driver is a mistake."""
    path = tmp_path / "room.toml"
    probe = '[[probe]]\nid = "board-7"\ndriver = "none"\n{key}\n[[probe.value]]\nquantity = "ph"\nunit = "pH"\n'
    path.write_text(ROOM.format(port=1, more="") + probe.format(key=""), encoding="utf-8")
    assert load_config(path).probes == ()
    path.write_text(ROOM.format(port=1, more="") + probe.format(key='port = "/dev/x"'), encoding="utf-8")
    with pytest.raises(InputError, match="port"):
        load_config(path)
