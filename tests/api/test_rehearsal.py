"""A rehearsal tells what the live service tells: the same readings, the same alerts, times, priorities and words."""

from __future__ import annotations

import random
from collections.abc import Iterator
from math import exp
from pathlib import Path

import pytest

from api.domain.alert import AlertKind, Event, Priority
from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from api.rehearsal.stepwise import Rehearsal, Told
from tests.support.rooms import NOW_MS, TestRoom, room

MINUTE_MS = 60_000


@pytest.fixture
def lab(tmp_path: Path) -> Iterator[TestRoom]:
    """Two tanks."""
    with room(tmp_path) as one:
        yield one


def night(minutes: int) -> list[list[RawReading]]:
    """Minute by minute: p1's air is lost after three hours and comes back; p2 falls silent after five."""
    chance, packs = random.Random(3), []
    for at in range(minutes):
        time_ms = NOW_MS + (at + 1) * MINUTE_MS
        gone = max(0, min(at, 420) - 180) / 60.0
        back = max(0, at - 420) / 60.0
        oxygen = 7.4 - 6.0 * (1.0 - exp(-0.25 * gone)) * exp(-1.5 * back) + chance.gauss(0.0, 0.02)
        pack = [
            RawReading("p1", Quantity.TEMPERATURE, time_ms, 26.0 + chance.gauss(0.0, 0.01), "Cel"),
            RawReading("p1", Quantity.OXYGEN, time_ms, oxygen, "mg/L"),
        ]
        if at < 300:
            pack.append(RawReading("p2", Quantity.TEMPERATURE, time_ms, 80.0 + chance.gauss(0.0, 0.02), "[degF]"))
        packs.append(pack)
    return packs


def rehearsed(lab: TestRoom, packs: list[list[RawReading]]) -> list[Told]:
    """What a rehearsal of them tells."""
    one = Rehearsal(lab.service.plan(), NOW_MS)
    try:
        return [told for pack in packs for told in one.take(pack, pack[0].time_ms)]
    finally:
        one.close()


def test_it_tells_what_the_live_service_tells(lab: TestRoom) -> None:
    """Alerts in the database of a service that heard the same, looked at each minute."""
    packs = night(600)
    told = rehearsed(lab, packs)
    for pack in packs:
        lab.now_ms = pack[0].time_ms
        lab.service.watch.look()
        lab.service.again.look()
        lab.take(*pack)
    alerts = sorted(lab.service.read.alerts(None), key=lambda one: (one.raised_ms, one.id))
    assert {one.kind for one in alerts} == {AlertKind.LOW_OXYGEN, AlertKind.QUIET_PROBE}
    live = [
        (step.time_ms, one.tank, one.kind, "cleared" if step.event == "returned" else step.event, step.text)
        for one in alerts
        for step in lab.service.read.alert(one.id).steps
    ]
    mine = [(one.time_ms, one.tank, one.kind, str(one.event), one.text) for one in told]
    assert sorted(mine, key=str) == sorted(live, key=str)
    assert {one.event for one in told} >= {Event.RAISED, Event.ESCALATED, Event.CLEARED}


def test_late_and_doubled_packs_are_found_late_once(lab: TestRoom) -> None:
    """A night that arrives in the morning is told as found late, never as if it were now."""
    packs = night(420)
    late = [pack[:2] for pack in packs[200:]]
    one = Rehearsal(lab.service.plan(), NOW_MS)
    for pack in packs[:200]:
        one.take(pack, pack[0].time_ms)
    morning_ms = NOW_MS + 12 * 3_600_000
    told = [x for pack in late for x in one.take(pack, morning_ms)]
    told += [x for pack in late for x in one.take(pack, morning_ms)]
    told += one.advance(morning_ms + 10 * MINUTE_MS)
    found = [x for x in told if x.kind is AlertKind.LOW_OXYGEN]
    one.close()
    assert [(x.event, x.priority) for x in found] == [(Event.FOUND_LATE, Priority.NOTE)]


def test_nothing_is_left_on_the_disk(lab: TestRoom, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """The folder is as it was."""
    monkeypatch.chdir(tmp_path)
    before = sorted(tmp_path.rglob("*"))
    rehearsed(lab, night(30))
    assert sorted(tmp_path.rglob("*")) == before
