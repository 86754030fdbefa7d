"""Several probes on one port: opened once, in turns, closed with the last, and nobody left on a dead one."""

from __future__ import annotations

import threading
import time
from collections import deque

import pytest

from collector.drivers.bus import FRUITLESS, LET_GO, Seat, join
from collector.errors import PortReason, PortTrouble


class MemoryLine:
    """A port in memory that echoes what is written, and can be pulled out."""

    def __init__(self, name: str = "memory", fault: PortReason | None = None, deaf: bool = False) -> None:
        self.name, self.fault, self.deaf = name, fault, deaf
        self.opened = self.closed = self.users = self.most_users = 0
        self.waiting: deque[bytes] = deque()

    def open(self) -> None:
        """Count."""
        self._check()
        self.opened += 1

    def read(self, wait_s: float) -> bytes:
        """What was written."""
        self._check()
        return self.waiting.popleft() if self.waiting else b""

    def write(self, data: bytes, timeout_s: float) -> None:
        """Echo, slowly enough for a second talker to be noticed."""
        self._check()
        self.users += 1
        self.most_users = max(self.most_users, self.users)
        time.sleep(0.001)
        self.users -= 1
        if not self.deaf:
            self.waiting.append(data)

    def close(self) -> None:
        """Count."""
        self.closed += 1

    def _check(self) -> None:
        if self.fault is not None:
            raise PortTrouble("somebody", self.name, self.fault, "told to fail")


def turn(seat: Seat) -> bytes:
    """One question and its answer."""
    assert seat.take(1.0)
    try:
        seat.write(seat.probe.encode(), 1.0)
        return seat.read(1.0)
    finally:
        seat.give_back()


def test_the_port_is_opened_once_and_closed_by_the_last() -> None:
    """Whoever comes first."""
    line, second = MemoryLine(), MemoryLine()
    one, two = join("p1", line, "k", "s"), join("p2", second, "k", "s")
    assert (turn(one), turn(two)) == (b"p1", b"p2")
    one.leave()
    assert (turn(two), line.closed) == (b"p2", 0)
    two.leave()
    two.leave()
    assert (line.opened, line.closed, second.opened) == (1, 1, 0)


def test_other_settings_are_refused_by_name() -> None:
    """With what to do."""
    one = join("p1", MemoryLine(), "k", "sdi12 1200 7E1")
    with pytest.raises(PortTrouble, match="probe 'p1' shares it as 'sdi12 1200 7E1'") as caught:
        join("p2", MemoryLine(), "k", "sdi12 9600 8N1")
    assert (caught.value.reason, caught.value.probe) == (PortReason.SETTINGS, "p2")
    one.leave()
    join("p2", MemoryLine(), "k", "sdi12 9600 8N1").leave()


def test_a_port_that_does_not_open_is_tried_anew_by_the_next() -> None:
    """And the error names the probe that asked."""
    with pytest.raises(PortTrouble) as caught:
        join("p1", MemoryLine(fault=PortReason.MISSING), "k", "s")
    assert (caught.value.probe, caught.value.reason) == ("p1", PortReason.MISSING)
    seat = join("p1", MemoryLine(), "k", "s")
    assert turn(seat) == b"p1"
    seat.leave()


def test_only_one_talks_at_a_time_and_nobody_starves() -> None:
    """Five greedy probes, forty turns each, in step with each other."""
    line = MemoryLine()
    seats = [join(f"p{n}", line, "k", "s") for n in range(5)]
    order: list[str] = []

    def talk(seat: Seat) -> None:
        for _ in range(40):
            assert turn(seat) == seat.probe.encode()
            order.append(seat.probe)
        seat.leave()

    threads = [threading.Thread(target=talk, args=(seat,)) for seat in seats]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(10.0)
    assert (len(order), line.most_users, line.closed) == (200, 1, 1)
    middle = order[20:120]
    assert max(middle.count(seat.probe) for seat in seats) <= 2 * min(middle.count(seat.probe) for seat in seats)


def test_waiting_for_a_turn_ends_in_time_and_a_held_turn_stays_held() -> None:
    """A measurement may hold the line over several reads."""
    line = MemoryLine()
    one, two = join("p1", line, "k", "s"), join("p2", line, "k", "s")
    assert one.take(0.0)
    start_s = time.monotonic()
    assert not two.take(0.05)
    assert 0.04 < time.monotonic() - start_s < 0.5
    assert one.take(0.0)
    with pytest.raises(RuntimeError, match="out of turn"):
        two.write(b"x", 1.0)
    two.give_back()
    one.leave()
    assert two.take(0.0)
    two.leave()


def test_a_port_pulled_out_is_closed_for_all_and_opened_anew() -> None:
    """A probe that asks once an hour must not keep a dead port open for the others."""
    dead = MemoryLine()
    one, two = join("p1", dead, "k", "s"), join("p2", dead, "k", "s")
    dead.fault = PortReason.UNPLUGGED
    with pytest.raises(PortTrouble, match="told to fail") as first:
        turn(one)
    one.leave()
    assert (first.value.probe, dead.closed) == ("p1", 1)
    alive = MemoryLine()
    again = join("p1", alive, "k", "s")
    with pytest.raises(PortTrouble, match=LET_GO) as second:
        turn(two)
    assert second.value.probe == "p2"
    two.leave()
    assert (turn(again), alive.closed) == (b"p1", 0)
    again.leave()


def test_one_who_waits_for_a_turn_is_told_at_once_when_the_port_dies() -> None:
    """Not after its whole wait."""
    line = MemoryLine()
    one, two = join("p1", line, "k", "s"), join("p2", line, "k", "s")
    assert one.take(0.0)
    told: list[PortTrouble] = []

    def wait() -> None:
        try:
            two.take(5.0)
        except PortTrouble as error:
            told.append(error)

    waiting = threading.Thread(target=wait)
    waiting.start()
    time.sleep(0.05)
    assert one.broken(PortReason.SETTINGS, "nonsense").reason is PortReason.SETTINGS
    waiting.join(1.0)
    assert [error.probe for error in told] == ["p2"]
    one.leave()
    two.leave()
    assert line.closed == 1


def test_one_silent_probe_leaves_the_port_to_the_others_but_a_deaf_port_is_opened_anew() -> None:
    """An adapter that hangs looks like silence of all."""
    line = MemoryLine()
    one, two = join("p1", line, "k", "s"), join("p2", line, "k", "s")
    line.deaf = True
    for _ in range(FRUITLESS - 1):
        assert turn(one) == b""
    line.deaf = False
    turn(two)
    one.leave()
    assert line.closed == 0
    one = join("p1", line, "k", "s")
    line.deaf = True
    for _ in range(FRUITLESS):
        assert turn(one) == b""
    one.leave()
    assert line.closed == 1
    with pytest.raises(PortTrouble, match=LET_GO):
        two.take(0.0)
    two.leave()


def test_what_nobody_asked_for_is_thrown_away_in_bounded_time() -> None:
    """An endless noise ends the wait, not the program."""
    line = MemoryLine()
    seat = join("p1", line, "k", "s")
    assert seat.take(0.0)
    line.waiting.extend([b"x"] * 100)
    assert seat.quiet(0.01, 1.0)
    assert not line.waiting

    class Endless(MemoryLine):
        def read(self, wait_s: float) -> bytes:
            return b"x"

    noisy = join("p2", Endless(), "k2", "s")
    assert noisy.take(0.0)
    assert not noisy.quiet(0.01, 0.05)
    noisy.leave()
    seat.leave()
