"""What waits for its time: held on disk and in memory, bounded, dated together, however clocks go wrong."""

from __future__ import annotations

import sqlite3
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from collector.clock import BUILT_MS, JUMP_MS, SETTLE_MS
from collector.errors import SpoolReason, SpoolTrouble
from collector.hands import boot_ms, hands, wall_ms
from collector.held import Held
from collector.spool import NAME, Spool
from tests.support.clock_desk import HOUR_MS, Desk, computer, desk
from tests.support.made_up_computer import Computer

__all__ = ["computer", "desk"]


def test_what_the_disk_does_not_take_is_held_in_memory_and_a_source_that_keeps_waits(
    desk: Desk, computer: Computer, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Undated readings too; when the disk takes readings again they are first."""
    computer.power_cut(HOUR_MS, wakes_at_ms=0)
    desk.restart()
    full = sqlite3.OperationalError("database or disk is full")
    reading = RawReading("p0", Quantity.LEVEL, 9_000, 0.0, "cm")

    def refuse(*given: object) -> None:
        raise full

    with monkeypatch.context() as broken:
        broken.setattr(desk.spool._stock, "commit", refuse)
        assert desk.held.keep([reading], []) is False
        with pytest.raises(SpoolTrouble, match="full") as caught:
            desk.held.keep([reading], [], source_keeps=True)
        assert caught.value.reason is SpoolReason.DISK
        assert "takes nothing" in str(desk.spool.state().trouble)
        assert desk.held.state().waiting == 1
    desk.said = 1
    desk.say()
    assert desk.aside() == [0.0, 1.0]


def test_held_readings_are_bounded_and_what_had_no_room_is_counted(tmp_path: Path) -> None:
    """A quarter of a small spool; the oldest go."""
    computer = Computer(1_000)
    spool = Spool(tmp_path / NAME, max_mb=1.0, gather_s=0.0)
    held = Held(spool, computer.hands())
    for first in range(0, 3000, 500):
        held.keep([RawReading("p", Quantity.LEVEL, (first + n) * 10, 1.0, "cm") for n in range(500)], [])
    state = held.state()
    assert state.waiting + state.dropped == 3000
    assert state.waiting == 1_000_000 // 600
    assert "1334 readings without a time were dropped" in state.words
    spool.close()


def test_many_held_readings_are_dated_in_one_stretch(desk: Desk, computer: Computer) -> None:
    """More than fit one commit, of several probes whose stamps lie between each other."""
    computer.power_cut(HOUR_MS, wakes_at_ms=0)
    desk.probes = ["p0", "p1", "p2"]
    desk.restart()
    for _ in range(60):
        computer.wait(37)
        for probe in ("p2", "p0", "p1"):
            desk.say(probe, lines=70)
    computer.time_server()
    desk.settle()
    sent = desk.sent()
    assert len(sent) == 60 * 210
    assert len({reading.time_ms % 10 for reading in sent}) == 1
    assert [reading.value for reading in sent] == [float(n) for n in range(len(sent))]


def test_this_computers_own_clocks() -> None:
    """They can be read, and time passes."""
    here = hands()
    assert here.boot_id
    assert here.wall_ms() > BUILT_MS
    assert 0 < boot_ms() < wall_ms()
    assert here.synced() in (True, False)


STEPS = st.one_of(
    st.tuples(st.just("wait"), st.integers(0, 3 * SETTLE_MS)),
    st.tuples(st.just("say"), st.integers(1, 30)),
    st.tuples(st.just("set back"), st.integers(-3 * HOUR_MS, 3 * HOUR_MS)),
    st.tuples(st.just("set back"), st.integers(-JUMP_MS, JUMP_MS)),
    st.tuples(st.just("settle"), st.just(0)),
    st.tuples(st.just("time server"), st.just(0)),
    st.tuples(st.just("restart"), st.just(0)),
    st.tuples(st.just("power cut"), st.integers(0, 2 * HOUR_MS)),
    st.tuples(st.just("power cut, clock unset"), st.integers(0, 2 * HOUR_MS)),
)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(steps=st.lists(STEPS, min_size=1, max_size=40), battery=st.booleans())
def test_whatever_the_clock_does_nothing_is_lost_doubled_or_reordered(
    tmp_path_factory: pytest.TempPathFactory, steps: list[tuple[str, int]], battery: bool
) -> None:
    """Every reading is sent or kept aside, once; no (probe, time) twice; times of a stretch rise in the order said."""
    computer = Computer(battery=battery)
    desk = Desk(tmp_path_factory.mktemp("clock"), computer, probes=2)
    for number, (step, amount) in enumerate(steps):
        if step == "wait":
            computer.wait(amount)
        elif step == "say":
            desk.say(desk.probes[number % 2], lines=amount)
        elif step == "set back":
            computer.set_back(amount)
        elif step == "settle":
            desk.settle()
        elif step == "time server":
            computer.time_server()
        elif step == "restart":
            desk.restart()
        else:
            computer.power_cut(amount, wakes_at_ms=5_000 if "unset" in step else None)
            desk.restart()
    sent, aside = desk.sent(), desk.aside()
    desk.close()
    assert sorted([*(reading.value for reading in sent), *aside]) == [float(n) for n in range(desk.said)]
    assert len({(reading.probe, reading.time_ms) for reading in sent}) == len(sent)
    for probe in desk.probes:
        mine = [reading for reading in sent if reading.probe == probe]
        assert [reading.value for reading in mine] == sorted(reading.value for reading in mine)
        for earlier, later in pairwise(mine):
            assert later.time_ms > earlier.time_ms or later.time_ms % 10 != earlier.time_ms % 10
