"""Two lanes out of the spool: what came just now goes first, then the oldest, each once."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from collector.runs import Runs
from collector.spool import Spool
from collector.stock import FRESH_S
from tests.collector.conftest import readings
from tests.collector.test_spool import full, roomy


class Lanes:
    """A spool on a clock the test sets."""

    def __init__(self, path: Path) -> None:
        self.clock_s = 0.0
        self._path = path
        self.spool = self._open()

    def _open(self) -> Spool:
        return Spool(self._path, gather_s=0.0, monotonic_s=lambda: self.clock_s)

    def restart(self) -> None:
        """As after a power cut."""
        self.spool.close()
        self.spool = self._open()

    def take(self, count: int) -> list[RawReading]:
        """Readings taken."""
        return [reading for _, reading in self.spool.take(count).rows]


@pytest.fixture
def lanes(tmp_path: Path) -> Iterator[Lanes]:
    """A thousand readings that came a minute ago."""
    made = Lanes(tmp_path / "spool.db")
    made.spool.keep(readings(1000))
    made.clock_s += 60
    yield made
    made.spool.close()


def test_fresh_readings_go_before_the_backlog_and_the_oldest_fill_up(lanes: Lanes) -> None:
    """Fresh is what came within five seconds; then it is backlog too."""
    lanes.spool.keep(readings(4, 1000))
    assert lanes.take(10) == [*readings(4, 1000), *readings(6)]
    lanes.clock_s += FRESH_S + 1
    lanes.spool.keep(readings(2, 1004))
    assert lanes.take(10) == [*readings(2, 1004), *readings(8)]


def test_a_quarter_is_left_to_the_backlog_and_of_too_many_fresh_the_newest_go(lanes: Lanes) -> None:
    """So that a backlog ends even while more comes in than goes out."""
    lanes.spool.keep(readings(100, 1000))
    assert lanes.take(20) == [*readings(15, 1085), *readings(5)]


def test_readings_that_tell_of_the_past_are_no_news(lanes: Lanes) -> None:
    """A file that is read now, of last year's readings, goes in its order behind what waits."""
    old = [RawReading("p2", Quantity.TEMPERATURE, 1_500_000_000_000 + n, 20.0, "Cel") for n in range(5)]
    lanes.spool.keep(old)
    assert lanes.take(10) == readings(10)


def test_without_a_backlog_everything_goes_in_the_order_it_came(tmp_path: Path) -> None:
    """However many came at once."""
    made = Lanes(tmp_path / "spool.db")
    made.spool.keep(readings(500))
    assert made.take(200) == readings(200)
    made.spool.close()


def test_each_reading_is_finished_singly_and_stays_so_through_a_restart(lanes: Lanes) -> None:
    """Those of the fresh lane leave the spool and the backlog before them stays."""
    lanes.spool.keep(readings(3, 1000))
    taken = lanes.spool.take(5)
    lanes.spool.finish(taken, [taken.numbers[n] for n in (0, 2, 4)])
    left = [readings(1)[0], *readings(998, 2), *readings(1, 1001)]
    assert lanes.take(2000) == left
    lanes.restart()
    assert lanes.take(2000) == left
    assert lanes.spool.waiting() == 1000


def test_what_is_done_is_not_given_again_while_the_disk_takes_no_deletions(lanes: Lanes) -> None:
    """The full disk still holds it; only the deletion waits."""
    full(lanes.spool)
    lanes.spool.keep(readings(3, 1000))
    for _ in range(4):
        taken = lanes.spool.take(100)
        lanes.spool.finish(taken, taken.numbers)
    assert lanes.take(2000) == readings(603, 397)
    roomy(lanes.spool)
    lanes.spool.keep(readings(1, 1003))
    lanes.restart()
    assert lanes.take(2000) == [*readings(603, 397), *readings(1, 1003)]


def test_runs_of_numbers() -> None:
    """Numbers that touch become one run; between runs nothing is in."""
    runs = Runs()
    runs.add([7, 8, 3, 9, 20])
    runs.add([4, 10])
    assert runs.runs == [(3, 4), (7, 10), (20, 20)]
    assert [n for n in range(25) if n in runs] == [3, 4, 7, 8, 9, 10, 20]
    assert [runs.past(n) for n in (1, 2, 3, 4, 6, 9, 10, 19, 30)] == [1, 4, 4, 4, 10, 10, 10, 20, 30]
