"""Evidence of probes some rooms have, through the whole line: a flow probe, thermometers at top and bottom."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from api.domain.alert import AlertKind
from api.domain.cause import CauseName
from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from api.services.answers import AlertNow
from tests.support.rooms import ROOM, TestRoom, room

MINUTE_MS = 60_000
MORE = """
[[probe]]
id = "flow1"
tank = "t1"
driver = "none"
every_s = 60
value = [{ quantity = "flow", unit = "L/min" }]
[[probe]]
id = "top1"
tank = "t1"
driver = "none"
every_s = 60
value = [{ quantity = "temperature", unit = "Cel" }]
"""


@pytest.fixture
def lab(tmp_path: Path) -> Iterator[TestRoom]:
    """t1 with a probe at the bottom, a thermometer at the top and a flow probe."""
    with room(tmp_path, ROOM.replace("[[notify]]", MORE + "[[notify]]")) as one:
        yield one


def stopped(lab: TestRoom, *, flow: bool, layers: bool) -> AlertNow:
    """A calm day, then the pump stops: oxygen falls; what the other probes show of it. The alert of low oxygen."""
    packs: list[RawReading] = []
    for minute in range(26 * 60):
        at_ms = lab.now_ms + minute * MINUTE_MS
        since = max(0, minute - 24 * 60)
        wave = 0.02 * ((minute * 7) % 5 - 2)
        oxygen = 7.6 + wave - 0.045 * since
        packs += [
            RawReading("p1", Quantity.TEMPERATURE, at_ms, 26.0 + wave - (0.015 * since if layers else 0), "Cel"),
            RawReading("p1", Quantity.OXYGEN, at_ms, max(0.3, oxygen), "mg/L"),
            RawReading("top1", Quantity.TEMPERATURE, at_ms, 26.2 + wave + (0.03 * since if layers else 0), "Cel"),
            RawReading("flow1", Quantity.FLOW, at_ms, (0.4 if since and flow else 4.0) + wave, "L/min"),
        ]
    for place in range(0, len(packs), 40):
        pack = packs[place : place + 40]
        lab.now_ms = pack[-1].time_ms
        lab.take(*pack)
        found = [one for one in lab.service.read.alerts(None) if one.kind is AlertKind.LOW_OXYGEN]
        if found and lab.now_ms > packs[24 * 240].time_ms + 70 * MINUTE_MS:
            return lab.service.read.alert(found[0].id)
    raise AssertionError("no alert of low oxygen")


def test_a_flow_probe_tells_a_stopped_pump(lab: TestRoom) -> None:
    """Oxygen alone would say lost air; the flow says that the water stands."""
    alert = stopped(lab, flow=True, layers=False)
    assert alert.causes[0].name is CauseName.STAGNATION
    assert any("flow is 1" in words and "% of its usual" in words for words in alert.causes[0].evidence)


def test_the_usual_flow_outlives_a_restart(lab: TestRoom) -> None:
    """The service starts while the pump stands: what was usual comes from the day before."""
    for minute in range(240):
        lab.now_ms += MINUTE_MS
        lab.take(RawReading("flow1", Quantity.FLOW, lab.now_ms, 4.0 + 0.02 * (minute % 3), "L/min"))
    lab.restart()
    lab.now_ms += MINUTE_MS
    lab.take(RawReading("flow1", Quantity.FLOW, lab.now_ms, 0.4, "L/min"))
    watch = lab.service.ingest.judging.outlooks.tank("t1")
    assert watch is not None
    assert watch.flow_usual == pytest.approx(4.0, abs=0.1)


def test_two_thermometers_tell_unmixed_water(lab: TestRoom) -> None:
    """Top and bottom drift apart."""
    alert = stopped(lab, flow=False, layers=True)
    stagnant = next(one for one in alert.causes if one.name is CauseName.STAGNATION)
    assert any("top and bottom differ by" in words for words in stagnant.evidence)
    assert alert.causes[0].name is CauseName.STAGNATION


def test_without_them_nothing_is_said_of_them(lab: TestRoom) -> None:
    """The same fall, both still as usual: no such evidence."""
    alert = stopped(lab, flow=False, layers=False)
    assert not [w for one in alert.causes for w in one.evidence if "flow is" in w or "top and bottom" in w]
