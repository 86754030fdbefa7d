"""The uplink's way to the broker: cut, killed, with TLS and a password, and as the room file chooses it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from api.domain.errors import InputError
from collector.config import load_config
from collector.errors import ServiceTrouble
from collector.runner import Runner
from collector.spool import Spool
from tests.collector.conftest import Until, readings
from tests.support.mosquitto import Mosquitto, certificates
from tests.support.mqtt_answerer import (
    Answerer,
)
from tests.support.mqtt_speaker import Speaker
from tests.support.tcp_proxy import TcpProxy
from tests.support.uplink_room import STATE, answerer, broker, running, service_of, version

__all__ = ["answerer", "broker", "version"]


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
