"""A clock that is unset, jumps or is set back: which readings get a date, which wait, which are never dated."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

from collector.clock import BUILT_MS, SETTLE_MS, is_dated
from collector.held import listed
from collector.spool import NAME
from tests.support.clock_desk import HOUR_MS, MINUTE_MS, Desk, computer, desk
from tests.support.made_up_computer import Computer

__all__ = ["computer", "desk"]


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
