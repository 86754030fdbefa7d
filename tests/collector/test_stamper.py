"""Time stamps, polling beats and waiting times, with time handed in."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from collector.backoff import CEILING_S, FLOOR_S, Backoff
from collector.clock import JUMP_MS, Clock, Stamper
from collector.schedule import Schedule
from tests.support.made_up_computer import Computer


@given(st.lists(st.integers(-(10**9), 10**9), min_size=2, max_size=50))
def test_stamps_of_one_probe_rise_strictly(steps: list[int]) -> None:
    """Even when lines share a read or the caller's clock is set back, no two lines share a time."""
    stamper, stamps = Stamper(), []
    for step in steps:
        stamps.append(stamper.stamp((stamper.last_ms or 10**12) + step))
    assert all(earlier < later for earlier, later in pairwise(stamps))


def test_lines_of_one_read_get_a_millisecond_each() -> None:
    """So that neither is taken for the other's copy."""
    stamper = Stamper()
    assert [stamper.stamp(5000) for _ in range(3)] == [5000, 5001, 5002]
    assert stamper.stamp(6000) == 6000


def test_a_line_is_stamped_when_it_came_not_when_its_turn_has_come() -> None:
    """With a clock: the date it was told by, or the time since boot, is believed up to five minutes; then it is now."""
    computer = Computer()
    clock = Clock(computer.hands())
    clock.adopt(*(clock.plan(lambda: None) or (0, 0)))
    stamper = Stamper(clock)
    came_ms = clock.now_ms()
    computer.wait(3_000)
    assert stamper.stamp(came_ms) == came_ms
    assert stamper.stamp(came_ms) == came_ms + 10
    assert stamper.stamp(computer.boot_ms - 1_000) == came_ms + 2_000
    computer.wait(JUMP_MS)
    assert stamper.stamp(5) == clock.now_ms()
    assert stamper.mark() == clock.now_ms()
    assert stamper.mark() is None


def test_the_beat_does_not_drift_and_missed_beats_are_not_made_up() -> None:
    """Asked late, the next beat is still on the grid."""
    schedule = Schedule(10.0, 100.0)
    due = [now for now in range(100, 160) if schedule.due(now + 0.9)]
    assert due == [100, 110, 120, 130, 140, 150]
    assert schedule.due(195.0)
    assert not schedule.due(199.0)
    assert schedule.left_s(199.0) == 1.0


def test_waits_double_with_full_jitter_between_floor_and_ceiling() -> None:
    """The draw's upper edge doubles up to the ceiling and falls back after success."""
    tops: list[float] = []

    def draw(low: float, high: float) -> float:
        assert low == FLOOR_S
        tops.append(high)
        return high

    backoff = Backoff(draw)
    for _ in range(8):
        backoff.next_s()
    assert tops == [1.0, 2.0, 4.0, 8.0, 16.0, CEILING_S, CEILING_S, CEILING_S]
    backoff.reset()
    assert backoff.next_s() == 1.0
