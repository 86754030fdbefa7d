"""The uplink through a real broker, against a service that misbehaves and a network that breaks."""

from __future__ import annotations

from pathlib import Path

import pytest

from api.domain.topics import Topics
from collector.errors import ServiceTrouble
from collector.mqtt_service import packs_of
from collector.spool import Spool
from tests.collector.conftest import Until, readings
from tests.support.mosquitto import Mosquitto
from tests.support.mqtt_answerer import (
    Answerer,
    Misbehaviour,
    counted,
    forget_to_answer,
    said,
    silent,
    status,
)
from tests.support.uplink_room import answerer, broker, running, service_of, version

__all__ = ["answerer", "broker", "version"]


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
        until(lambda: spool.waiting() == 0 and uplink.delivered.accepted + uplink.delivered.duplicate == 100)
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
