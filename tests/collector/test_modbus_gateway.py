"""Modbus TCP that misbehaves: dead units, late answers, streams that are something else."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from collector.errors import PortTrouble
from tests.collector.test_modbus import driver_of, numbers, polled
from tests.collector.test_modbus_faults import OXYGEN, RIGHT, TEMPERATURE, device
from tests.support.modbus_probe import Device, Mangle, TcpProbe


def test_a_dead_unit_behind_a_gateway_does_not_cost_the_others_their_connection() -> None:
    """One connection for both."""
    devices = {1: device(), 2: Device({})}
    devices[2].silent = True
    with TcpProbe(devices) as gateway:
        keys: dict[str, Any] = {"host": "127.0.0.1", "tcp_port": gateway.port, "timeout_s": 0.1, "every_s": 0.1}
        here = driver_of(Path("."), TEMPERATURE, OXYGEN, **keys)
        absent = driver_of(Path("."), TEMPERATURE, probe="p2", device=2, **keys)
        here.open()
        absent.open()
        for _ in range(3):
            assert numbers(polled(here)) == RIGHT
            absent.read(0.05)
        gateway.mangle = lambda request, answer: [answer]
        assert numbers(polled(here)) == RIGHT
        here.close()
        absent.close()
        assert gateway.connections == 1


def test_a_late_answer_is_known_by_its_number() -> None:
    """Each request is answered by the answer to the one before: 24.31 would come out as oxygen."""
    with TcpProbe({1: device()}) as gateway:
        answers: list[bytes] = [b""]

        def late(request: bytes, answer: bytes) -> list[bytes]:
            answers.append(answer)
            return [answers[-2]]

        gateway.mangle = late
        keys: dict[str, Any] = {"host": "127.0.0.1", "tcp_port": gateway.port, "timeout_s": 0.1, "every_s": 0.5}
        driver = driver_of(Path("."), TEMPERATURE, OXYGEN, **keys)
        driver.open()
        batch = polled(driver)
        assert (numbers(batch), batch.unreadable) == ([], 1)
        assert "register 10: 1 answers to older requests; timeout_s is too short" in batch.last_unreadable
        gateway.mangle = lambda request, answer: [answer]
        assert numbers(polled(driver)) == RIGHT
        driver.close()


@pytest.mark.parametrize(
    ("spoil", "reason"),
    [
        (lambda request, answer: [answer[:7]], "stopped in the middle of an answer"),
        (lambda request, answer: [b"HTTP/1.1 400 Bad Request\r\n"], "what came is not Modbus TCP: 48 54 54 50"),
        (lambda request, answer: [answer[:6] + b"\x07" + answer[7:]], "the answer is for another request"),
        (lambda request, answer: [b"\xff" * 65_536] * 20, "what came is not Modbus TCP: ff ff"),
    ],
)
def test_a_stream_that_is_lost_is_made_anew(spoil: Mangle, reason: str) -> None:
    """With its reason; the next connection is good."""
    with TcpProbe({1: device()}) as gateway:
        gateway.mangle = spoil
        keys: dict[str, Any] = {"host": "127.0.0.1", "tcp_port": gateway.port, "timeout_s": 0.2}
        driver = driver_of(Path("."), TEMPERATURE, OXYGEN, **keys)
        driver.open()
        with pytest.raises(PortTrouble, match=reason):
            polled(driver)
        driver.close()
        gateway.mangle = lambda request, answer: [answer]
        again = driver_of(Path("."), TEMPERATURE, OXYGEN, **keys)
        again.open()
        assert numbers(polled(again)) == RIGHT
        again.close()
