"""Claiming: a probe that was only heard becomes a tank's, and stays it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

from api.app import create_api
from api.domain.errors import InputError, NotFound
from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from api.domain.tank import Value
from tests.support.rooms import ROOM, TestRoom, room

TOMORROW_MS = 86_400_000


@pytest.fixture
def lab(tmp_path: Path) -> Iterator[TestRoom]:
    """Two tanks, and a stranger that says its water every 30 s in Fahrenheit."""
    with room(tmp_path) as made:
        for _ in range(10):
            made.now_ms += 30_000
            say(made, 78.8)
        yield made


def say(lab: TestRoom, temperature_f: float) -> None:
    """The stranger speaks."""
    lab.take(
        RawReading("stray.7", Quantity.TEMPERATURE, lab.now_ms, temperature_f, "[degF]"),
        RawReading("stray.7", Quantity.OXYGEN_SATURATION, lab.now_ms, 96.0, "%"),
    )


def post(lab: TestRoom, path: str, body: object) -> httpx.Response:
    """Ask the API."""
    transport = httpx.ASGITransport(create_api(lab.service))

    async def ask() -> httpx.Response:
        async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1") as client:
            return await client.post(path, json=body)

    import asyncio

    return asyncio.run(ask())


def test_a_claimed_probe_is_described_by_what_was_heard(lab: TestRoom) -> None:
    """Quantities and units as it says them, and how often it speaks."""
    answer = post(lab, "/api/v1/probes/stray.7/claim", {"tank": "t2"})
    assert answer.status_code == 200
    assert answer.json()["id"] == "t2"
    probe = lab.service.plan().probes["stray.7"]
    assert (probe.tank, probe.every_s) == ("t2", 30.0)
    assert [(value.quantity, value.unit) for value in probe.values] == [
        (Quantity.TEMPERATURE, "[degF]"), (Quantity.OXYGEN_SATURATION, "%"),
    ]  # fmt: skip
    now = lab.service.read.room(lab.now_ms)
    assert now.unclaimed == ()
    assert "stray.7" in {one.probe for one in lab.service.read.tank("t2", lab.now_ms).latest}


def test_its_readings_are_judged_from_then_on(lab: TestRoom) -> None:
    """Danger is told like that of any probe."""
    lab.service.records.claim("stray.7", "t2", lab.now_ms)
    for _ in range(40):
        lab.now_ms += 30_000
        say(lab, 98.6)
    assert {(one.tank, one.probe) for one in lab.service.read.alerts(None)} == {("t2", "stray.7")}


def test_a_claim_outlives_restarts_and_the_room_file(lab: TestRoom) -> None:
    """Until the file itself gives the probe a tank, or the tank is no more."""
    lab.service.records.claim("stray.7", "t2", lab.now_ms)
    lab.restart()
    assert lab.service.plan().probes["stray.7"].tank == "t2"
    described = '[[probe]]\nid = "stray.7"\ndriver = "none"\nvalue = [{ quantity = "temperature", unit = "[degF]" }]\n'
    for more, tank, values in (
        (described, "t2", 1),
        (described + 'tank = "t1"\n', "t1", 1),
        ("", None, 0),
    ):
        (lab.folder / "room.toml").write_text(ROOM + more, encoding="utf-8")
        lab.restart()
        probe = lab.service.plan().probes.get("stray.7")
        assert (probe.tank if probe else None, len(probe.values) if probe else 0) == (tank, values)


def test_a_claim_for_a_tank_that_went_is_over(lab: TestRoom) -> None:
    """The probe is shown as unclaimed again."""
    lab.service.records.claim("stray.7", "t2", lab.now_ms)
    without = ROOM.replace('[[tank]]\nid = "t2"\n', "").replace('tank = "t2"\n', 'tank = "t1"\n')
    (lab.folder / "room.toml").write_text(without, encoding="utf-8")
    lab.restart()
    assert {one.probe for one in lab.service.read.room(lab.now_ms).unclaimed} == {"stray.7"}


def test_claiming_twice_changes_nothing_and_no_probe_is_taken_from_its_tank(lab: TestRoom) -> None:
    """Two thumbs at the same moment."""
    lab.service.records.claim("stray.7", "t2", lab.now_ms)
    before = lab.service.plan()
    lab.service.records.claim("stray.7", "t2", lab.now_ms)
    assert lab.service.plan() is before
    with pytest.raises(InputError, match="belongs to tank 't2'"):
        lab.service.records.claim("stray.7", "t1", lab.now_ms)


@pytest.mark.parametrize(("probe", "tank"), [("stray.7", "t9"), ("never-heard", "t2"), ("", "t2"), ("stray.7", "")])
def test_what_is_not_there_cannot_be_claimed(probe: str, tank: str, lab: TestRoom) -> None:
    """With its name in the message."""
    with pytest.raises(NotFound, match=repr(tank if tank != "t2" else probe)):
        lab.service.records.claim(probe, tank, lab.now_ms)


def test_a_claim_without_a_tank_is_refused(lab: TestRoom) -> None:
    """As a problem body."""
    assert post(lab, "/api/v1/probes/stray.7/claim", {}).status_code == 422
    assert post(lab, "/api/v1/probes/stray.7/claim", {"tank": "t9"}).status_code == 404


def test_the_unit_of_a_value_is_the_one_heard_last(lab: TestRoom) -> None:
    """A board may be set up anew before it is claimed."""
    lab.now_ms += 30_000
    lab.take(RawReading("stray.7", Quantity.TEMPERATURE, lab.now_ms, 26.0, "Cel"))
    lab.service.records.claim("stray.7", "t1", lab.now_ms)
    assert lab.service.plan().probes["stray.7"].values[0] == Value(Quantity.TEMPERATURE, "Cel")
