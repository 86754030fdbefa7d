"""Readings that the service does not take yet, because its clock is behind: they wait in the spool, the rest go on."""

from __future__ import annotations

import json
import sqlite3
import threading
from pathlib import Path

import pytest

from collector.backoff import Backoff
from collector.later import FIRST_S, LONGEST_S, Later
from collector.service import Service
from collector.spool import NAME, Spool
from collector.uplink import Uplink
from tests.collector.conftest import Until, readings
from tests.support.http_receiver import Exchange, Receiver

WHY = "its time is 3600 s ahead of the service's clock: compare the two clocks"


def behind(exchange: Exchange) -> bool:
    """A service that takes the first ten seconds' readings only, and will take the others later."""
    if exchange.command != "POST":
        return False
    records = json.loads(exchange.body)
    good = [record for record in records if record["t"] < 1_900_000_010]
    late = [index for index, record in enumerate(records) if record not in good]
    told = exchange.server.receiver._pack(good)
    told["refused"] = [{"index": index, "reason": WHY, "later": True} for index in late]
    exchange.answer(200, told)
    return True


@pytest.mark.parametrize("patient", [True, False])
def test_they_stay_until_the_service_takes_them(
    data: Path, receiver: Receiver, until: Until, monkeypatch: pytest.MonkeyPatch, patient: bool
) -> None:
    """And what can go goes meanwhile; one who brings a file and does not wait has them set aside, as refused."""
    monkeypatch.setattr("collector.later.FIRST_S", 0.2)
    spool, stop = Spool(data / NAME, gather_s=0.0), threading.Event()
    service = Service(receiver.url, data)
    uplink = Uplink(spool, service, stop, 5, 0.0, backoff=Backoff(lambda low, high: 0.01), patient=patient)
    receiver.always = behind
    spool.keep([*readings(20, first=10), *readings(10)])
    uplink.start()
    try:
        until(lambda: len(receiver.records) == 10)
        if patient:
            until(lambda: spool.state().trouble == f"20 readings wait, the service does not take them yet: {WHY}")
            assert (spool.waiting(), uplink.delivered.refused, uplink.trouble) == (20, 0, "")
            receiver.always = None
            until(lambda: len(receiver.records) == 30)
            until(lambda: spool.waiting() == 0 and spool.state().trouble is None)
        else:
            until(lambda: uplink.delivered.refused == 20)
    finally:
        stop.set()
        spool.arrived.set()
        assert uplink.join(5.0)
        service.close()
        spool.close()
    db = sqlite3.connect(data / NAME)
    refused = db.execute("SELECT count(*) FROM refused").fetchone()[0]
    db.close()
    assert (refused, receiver.duplicates) == (0 if patient else 20, 0)


def test_the_wait_doubles_up_to_two_minutes_and_is_short_again_after_a_good_while() -> None:
    """All that wait are offered again together."""
    now_s = [1000.0]
    later = Later(lambda: now_s[0])
    waits = []
    for _ in range(7):
        later.add([4, 5, 9], WHY)
        began_s = now_s[0]
        while 5 in later:
            now_s[0] += 1.0
            later.look()
        waits.append(now_s[0] - began_s)
    assert waits == [FIRST_S, 10.0, 20.0, 40.0, 80.0, LONGEST_S, LONGEST_S]
    now_s[0] += 2 * LONGEST_S + 1.0
    later.look()
    assert later.words == ""
    later.add([7], WHY)
    now_s[0] += FIRST_S
    later.look()
    assert 7 not in later
