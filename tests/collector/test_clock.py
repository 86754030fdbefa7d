"""A clock that is unset, jumps or is set back: which readings get a date, which wait, which are never dated."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from collector.clock import BUILT_MS, JUMP_MS, SETTLE_MS, is_dated
from collector.errors import SpoolReason, SpoolTrouble
from collector.hands import boot_ms, hands, wall_ms
from collector.held import Held, listed, stamp_mark
from collector.spool import NAME, Spool
from collector.stock import Stock
from tests.support.made_up_computer import Computer

MINUTE_MS = 60_000
HOUR_MS = 60 * MINUTE_MS


class Desk:
    """A collector's spool and door on a made-up computer; readings are numbered by their value."""

    def __init__(self, folder: Path, computer: Computer, probes: int = 1) -> None:
        self.folder, self.computer, self.said = folder, computer, 0
        self.probes = [f"p{number}" for number in range(probes)]
        self.open()

    def open(self) -> None:
        """The collector starts."""
        self.spool = Spool(self.folder / NAME, gather_s=0.0)
        self.held = Held(self.spool, self.computer.hands())
        self.stampers = {probe: self.held.stamper(probe) for probe in self.probes}
        self.settle()

    def close(self) -> None:
        """The collector ends."""
        self.spool.close()

    def restart(self) -> None:
        """The collector ends and starts again."""
        self.close()
        self.open()

    def settle(self) -> None:
        """What the collector does every second."""
        while self.held.settle():
            pass

    def say(self, probe: str = "p0", lines: int = 1) -> list[int]:
        """A probe says some lines at once; their stamps."""
        stamper, readings = self.stampers[probe], []
        for _ in range(lines):
            time_ms = stamper.stamp(self.held.clock.now_ms())
            readings.append(RawReading(probe, Quantity.LEVEL, time_ms, float(self.said), "cm"))
            self.said += 1
        mark = stamper.mark()
        assert self.held.keep(readings, [] if mark is None else [stamp_mark(probe, mark)])
        return [reading.time_ms for reading in readings]

    def sent(self) -> list[RawReading]:
        """What would go to the service, in the order it was put into the spool."""
        found: list[RawReading] = self.spool.ask(_all)
        return found

    def aside(self) -> list[float]:
        """Values of the readings that wait for a date or have none for ever."""
        return [float(line.split(",")[4]) for line in listed(self.folder / NAME)]


def _all(stock: Stock) -> list[RawReading]:
    assert stock.file is not None
    return [reading for _, reading in stock.file.oldest(0, 10**6)]


@pytest.fixture
def computer() -> Computer:
    """A computer that has run for a while and is right."""
    return Computer()


@pytest.fixture
def desk(tmp_path: Path, computer: Computer) -> Iterator[Desk]:
    """A collector on it."""
    one = Desk(tmp_path, computer)
    yield one
    one.close()


def test_a_clock_that_is_right_is_believed_at_once(desk: Desk, computer: Computer) -> None:
    """Even without a time server: many rooms have no network. A stamp is within two grains of the truth."""
    (stamp,) = desk.say()
    assert 0 <= stamp - computer.true_ms < 20
    assert desk.held.state().words == ""


def test_after_a_power_cut_readings_wait_until_the_clock_is_set_and_get_their_true_times(
    desk: Desk, computer: Computer
) -> None:
    """The clock begins in 1970; ten readings later a time server is reached."""
    desk.say()
    computer.power_cut(2 * HOUR_MS, wakes_at_ms=1_000)
    desk.restart()
    truth = []
    for _ in range(10):
        computer.wait(10_000)
        assert not is_dated(desk.say()[0])
        truth.append(computer.true_ms)
        desk.settle()
    assert [reading.value for reading in desk.sent()] == [0.0]
    assert "is not set, it says 1970-01-01" in desk.held.state().words
    assert "10 readings wait for their time" in desk.held.state().words
    computer.time_server()
    desk.settle()
    desk.say()
    times = [reading.time_ms for reading in desk.sent()]
    assert [reading.value for reading in desk.sent()] == [float(n) for n in range(12)]
    assert all(0 <= time_ms - true_ms < 20 for time_ms, true_ms in zip(times[1:], truth, strict=False))
    assert desk.aside() == []
    assert desk.held.state().words == ""


def test_a_saved_clock_that_goes_on_where_the_power_went_is_not_believed(desk: Desk, computer: Computer) -> None:
    """It is behind the newest reading, and later merely near it; set by hand it is believed once it stays."""
    (newest,) = desk.say()
    computer.power_cut(HOUR_MS, wakes_at_ms=newest - 30_000)
    desk.restart()
    for _ in range(60):
        computer.wait(MINUTE_MS)
        desk.settle()
        assert not is_dated(desk.say()[0])
    assert "yet readings up to" in desk.held.clock.doubt()
    computer.set_back(computer.error_ms)
    assert not is_dated(desk.say()[0])
    assert "was just set forward by 1 h" in desk.held.clock.doubt()
    computer.wait(SETTLE_MS)
    desk.settle()
    assert abs(desk.say()[0] - computer.true_ms) < 20
    assert len(desk.sent()) == 63


def test_a_saved_clock_a_little_ahead_of_the_last_reading_waits_a_while(desk: Desk, computer: Computer) -> None:
    """Saved at an orderly stop; believed when four minutes have brought no better, or at once with a battery."""
    (newest,) = desk.say()
    computer.power_cut(HOUR_MS, wakes_at_ms=newest + 30_000)
    desk.restart()
    assert not is_dated(desk.say()[0])
    assert "nothing confirms its clock yet" in desk.held.clock.doubt()
    computer.wait(SETTLE_MS)
    desk.settle()
    assert is_dated(desk.say()[0])
    computer.battery = True
    computer.power_cut(MINUTE_MS)
    desk.restart()
    assert is_dated(desk.say()[0])


def test_power_lost_before_the_clock_was_set_leaves_the_time_unknown(desk: Desk, computer: Computer) -> None:
    """They are kept, counted, listed, and never sent to be judged."""
    desk.say()
    computer.power_cut(HOUR_MS, wakes_at_ms=0)
    desk.restart()
    desk.say(lines=3)
    computer.power_cut(HOUR_MS, wakes_at_ms=0)
    desk.restart()
    desk.say(lines=2)
    computer.time_server()
    desk.settle()
    assert [reading.value for reading in desk.sent()] == [0.0, 4.0, 5.0]
    assert desk.aside() == [1.0, 2.0, 3.0]
    state = desk.held.state()
    assert (state.waiting, state.unknown) == (0, 3)
    assert state.words.startswith("time unknown: 3 readings from before a power cut")
    assert next(listed(desk.folder / NAME)).startswith("boot-2,8.0,p0,level,1.0,cm")


def test_a_small_step_back_is_eased_so_that_stamps_go_on_rising(desk: Desk, computer: Computer) -> None:
    """Two minutes back: at half speed, and after four minutes the truth is reached."""
    desk.say()
    computer.set_back(2 * MINUTE_MS)
    stamps = []
    for _ in range(30):
        computer.wait(10_000)
        stamps += desk.say()
    assert all(4_900 < later - earlier <= 10_100 for earlier, later in pairwise(stamps))
    assert 0 <= stamps[-1] - computer.wall_ms < 20


def test_a_clock_that_was_hours_ahead_is_set_right_and_no_stamp_is_given_twice(desk: Desk, computer: Computer) -> None:
    """The time between is lived twice: in another stretch, whose stamps have another last digit."""
    computer.set_back(-2 * HOUR_MS)
    desk.settle()
    computer.wait(SETTLE_MS)
    desk.settle()
    for _ in range(100):
        computer.wait(1_000)
        desk.say()
    computer.time_server()
    desk.settle()
    for _ in range(8000):
        computer.wait(1_000)
        desk.say()
    sent = desk.sent()
    assert len({reading.time_ms for reading in sent}) == len(sent) == 8100
    assert {reading.time_ms % 10 for reading in sent[:100]} == {0}
    assert {reading.time_ms % 10 for reading in sent[100:]} == {1}
    assert 0 <= sent[-1].time_ms - computer.true_ms < 20


def test_a_clock_older_than_the_program_is_never_believed(tmp_path: Path) -> None:
    """Not on a first start either, when nothing is known."""
    computer = Computer(BUILT_MS - 1)
    desk = Desk(tmp_path, computer)
    computer.wait(HOUR_MS)
    computer.set_back(HOUR_MS)
    desk.settle()
    assert not is_dated(desk.say()[0])
    desk.close()


def test_a_restart_within_the_boot_goes_on_at_once(desk: Desk, computer: Computer) -> None:
    """And stamps of one burst that ran ahead of the clock are not given again."""
    burst = desk.say(lines=500)
    desk.restart()
    assert desk.say()[0] == burst[-1] + 10


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
