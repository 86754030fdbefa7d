"""The uplink against a service that misbehaves in every way: nothing is lost, nothing blocks the rest."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx
import pytest

from collector.backoff import Backoff
from collector.errors import PackRefused, PackTooLarge, ServiceTrouble
from collector.service import Service
from collector.spool import NAME, Spool
from collector.uplink import Uplink
from tests.collector.conftest import Until, readings
from tests.support.http_receiver import (
    Exchange,
    Misbehaviour,
    Receiver,
    body,
    forget_to_answer,
    hang_up,
    status,
)

SHORT = httpx.Timeout(0.3)


@contextmanager
def running(spool: Spool, url: str, data: Path, pack_size: int = 200) -> Iterator[Uplink]:
    """An uplink that hardly waits between tries."""
    stop = threading.Event()
    service = Service(url, data, SHORT)
    uplink = Uplink(spool, service, stop, pack_size, linger_s=0.0, backoff=Backoff(lambda low, high: 0.01))
    uplink.start()
    try:
        yield uplink
    finally:
        stop.set()
        spool.arrived.set()
        assert uplink.join(5.0)
        service.close()


def test_readings_arrive_oldest_first_over_one_connection(
    spool: Spool, receiver: Receiver, data: Path, until: Until
) -> None:
    """And leave the spool; a request that was answered quickly is followed by a larger one."""
    spool.keep(readings(450))
    with running(spool, receiver.url, data) as uplink:
        until(lambda: spool.waiting() == 0)
        until(lambda: uplink.delivered.accepted == 450)
    assert receiver.packs == [200, 250]
    assert receiver.order == sorted(receiver.order, key=lambda key: key[1])
    assert next(iter(receiver.records.values())) == {"n": "p1/temperature", "u": "Cel", "v": 20.0, "t": 1_900_000_000.0}


def slow(exchange: Exchange) -> bool:
    """Longer than the collector waits."""
    threading.Event().wait(0.6)
    return hang_up(exchange)


@pytest.mark.parametrize(
    "misbehaviour",
    [
        status(503),
        status(500),
        status(404),
        status(429),
        status(301),
        body(b"<html>please log in to this network</html>"),
        body(b'{"accepted": 1, "duplicate": 0, "refused": []}'),
        body(b'{"accepted": 5, "duplicate": 0, "refused": [{"index": 99, "reason": "?"}]}'),
        body(b'{"accepted": true, "duplicate": 0, "refused": []}'),
        body(b"[]"),
        body(b'{"accepted": -1, "duplicate": 9, "refused": null}'),
        hang_up,
        forget_to_answer,
        slow,
    ],
)
def test_whatever_else_is_answered_readings_stay_and_are_tried_again(
    misbehaviour: Misbehaviour, spool: Spool, receiver: Receiver, data: Path, until: Until
) -> None:
    """Only the service's own 200, accounting for every reading, empties the spool."""
    spool.keep(readings(5))
    receiver.script.extend([misbehaviour, misbehaviour])
    with running(spool, receiver.url, data):
        until(lambda: spool.waiting() == 0)
    assert len(receiver.records) == 5
    assert len(receiver.requests) == 3
    assert spool.state().refused == 0


def test_a_refused_reading_is_set_aside_with_the_services_reason(
    spool: Spool, receiver: Receiver, data: Path, until: Until
) -> None:
    """The others of its pack are accepted."""
    spool.keep(readings(5))
    receiver.refuse = lambda record: "no such probe" if record["v"] == 20.003 else ""
    with running(spool, receiver.url, data) as uplink:
        until(lambda: spool.waiting() == 0)
        until(lambda: uplink.delivered.done == 5)
        assert (uplink.delivered.accepted, uplink.delivered.refused) == (4, 1)
        assert uplink.delivered.last_refused == "no such probe"
    assert spool.state().refused == 1


def test_one_poisonous_reading_is_found_and_the_rest_go_on(
    spool: Spool, receiver: Receiver, data: Path, until: Until
) -> None:
    """A pack answered 400 is sent singly."""

    def poisoned(exchange: Exchange) -> bool:
        return b"20.007" in exchange.body and status(400)(exchange)

    receiver.always = poisoned
    spool.keep(readings(20))
    with running(spool, receiver.url, data):
        until(lambda: spool.waiting() == 0)
    assert len(receiver.records) == 19
    assert spool.state().refused == 1


def test_poison_at_either_end_of_a_pack_is_found(spool: Spool, receiver: Receiver, data: Path, until: Until) -> None:
    """A reading taken before or after it is proof enough."""
    poison = (b"20.0,", b"20.001,", b"20.019,")

    def poisoned(exchange: Exchange) -> bool:
        return any(value in exchange.body for value in poison) and status(400)(exchange)

    receiver.always = poisoned
    spool.keep(readings(20))
    with running(spool, receiver.url, data):
        until(lambda: spool.waiting() == 0)
    assert len(receiver.records) == 17
    assert spool.state().refused == 3


@pytest.mark.parametrize("count", [1, 7])
@pytest.mark.parametrize("code", [400, 413, 422])
def test_a_service_that_refuses_everything_empties_nothing(
    code: int, count: int, spool: Spool, receiver: Receiver, data: Path, until: Until
) -> None:
    """As when it is called by a host name it does not go by: the fault is not the readings'."""
    receiver.always = status(code)
    spool.keep(readings(count))
    with running(spool, receiver.url, data) as uplink:
        until(lambda: len(receiver.requests) > 4 * count and f"told to answer {code}" in uplink.trouble)
        assert (spool.waiting(), spool.state().refused) == (count, 0)
        receiver.always = None
        until(lambda: spool.waiting() == 0)
    assert len(receiver.records) == count


def test_a_lone_poisonous_reading_is_set_aside_after_others_were_taken(
    spool: Spool, receiver: Receiver, data: Path, until: Until
) -> None:
    """But not a second one after it: two in a row may be the service's fault."""
    spool.keep(readings(1))
    with running(spool, receiver.url, data) as uplink:
        until(lambda: uplink.delivered.accepted == 1)
        receiver.always = status(400)
        spool.keep(readings(1, first=1))
        until(lambda: spool.state().refused == 1)
        spool.keep(readings(1, first=2))
        until(lambda: "told to answer 400" in uplink.trouble)
        assert (spool.waiting(), spool.state().refused) == (1, 1)


def test_a_suspect_that_is_taken_when_asked_again_leaves_the_spool(
    spool: Spool, receiver: Receiver, data: Path, until: Until
) -> None:
    """As after a service that refused for a moment what was not at fault."""
    receiver.script.extend([status(400), status(400), status(400)])
    spool.keep(readings(5))
    with running(spool, receiver.url, data) as uplink:
        until(lambda: spool.waiting() == 0)
        until(lambda: uplink.delivered.done == 5)
        assert (uplink.delivered.accepted, uplink.delivered.duplicate) == (5, 0)
    assert len(receiver.records) == 5
    assert spool.state().refused == 0


def test_what_comes_now_goes_before_a_backlog(receiver: Receiver, data: Path, until: Until) -> None:
    """In the first request after it came, however much still waits; everything goes once."""
    clock_s = [0.0]
    spool = Spool(data / NAME, gather_s=0.0, monotonic_s=lambda: clock_s[0])
    spool.keep(readings(2000))
    clock_s[0] += 60
    fresh = readings(3, first=2000)

    def come(exchange: Exchange) -> bool:
        receiver.always = None
        spool.keep(fresh)
        return False

    receiver.script.extend([None])
    receiver.always = come
    with running(spool, receiver.url, data):
        until(lambda: spool.waiting() == 0)
    spool.close()
    told = [key[1] for key in receiver.order]
    assert told[600:603] == [reading.time_ms / 1000 for reading in fresh]
    assert told[:600] + told[603:] == [reading.time_ms / 1000 for reading in readings(2000)]
    assert receiver.duplicates == 0


def test_a_pack_that_is_too_large_is_halved(spool: Spool, receiver: Receiver, data: Path, until: Until) -> None:
    """Until the service takes it."""

    def narrow(exchange: Exchange) -> bool:
        return exchange.body.count(b'"n"') > 30 and status(413)(exchange)

    receiver.always = narrow
    spool.keep(readings(200))
    with running(spool, receiver.url, data) as uplink:
        until(lambda: spool.waiting() == 0)
        assert uplink.pack_size == 25
    assert len(receiver.records) == 200
    assert spool.state().refused == 0


def test_a_new_token_is_read_again_after_401(spool: Spool, receiver: Receiver, data: Path, until: Until) -> None:
    """The service may be given a new one; readings wait until both agree."""
    (data / "collector.token").write_text("old-token")
    spool.keep(readings(3))
    with running(spool, receiver.url, data) as uplink:
        until(lambda: "401" in uplink.trouble)
        (data / "collector.token").write_text(receiver.token)
        until(lambda: spool.waiting() == 0)
        until(lambda: uplink.trouble == "")


def test_before_the_services_first_start_there_is_no_token_and_nobody_is_asked(
    spool: Spool, receiver: Receiver, data: Path, until: Until
) -> None:
    """The trouble says which file is waited for."""
    token = data / "collector.token"
    token.unlink()
    spool.keep(readings(3))
    with running(spool, receiver.url, data) as uplink:
        until(lambda: str(token) in uplink.trouble)
        assert receiver.requests == []
        token.write_text(receiver.token)
        until(lambda: spool.waiting() == 0)


def test_a_service_that_is_not_there_yet_gets_everything_when_it_is(spool: Spool, data: Path, until: Until) -> None:
    """Refused connections are waited out."""
    with Receiver() as gone:
        url, port = gone.url, int(gone.url.rpartition(":")[2])
    spool.keep(readings(3))
    with running(spool, url, data) as uplink:
        until(lambda: "does not answer" in uplink.trouble)
        with Receiver(port=port) as back:
            until(lambda: spool.waiting() == 0)
            assert len(back.records) == 3


def test_errors_tell_try_again_from_give_up(receiver: Receiver, data: Path) -> None:
    """With the status and the service's own words."""
    service = Service(receiver.url, data, SHORT)
    for code, kind in ((503, ServiceTrouble), (413, PackTooLarge), (400, PackRefused), (422, PackRefused)):
        receiver.script.append(status(code))
        with pytest.raises(kind, match=f"answered {code}: told to answer {code}") as caught:
            service.post(readings(1))
        assert getattr(caught.value, "status", None) == code
    service.close()
