"""A file that runs newest first ends as the same file in rising order does, however it is cut into blocks."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from api.services import keep_past, past_held
from api.services.past_spans import clipped, inside, spans_of, union
from tests.api.test_keep_past import alerts, columns, import_all, near
from tests.api.test_keep_past_kill import CARED, PowerCut, after, keeper, troubled
from tests.api.test_line_same import kept, opened, settle
from tests.support.rooms import NOW_MS, TestRoom, room

Q = Quantity
DAY_MS = 86_400_000


@pytest.fixture(autouse=True)
def small(monkeypatch: pytest.MonkeyPatch) -> None:
    """Small pieces of work, so that each has borders that matter."""
    monkeypatch.setattr(keep_past, "ROWS", 60)
    monkeypatch.setattr(past_held, "ROWS", 50)


def heard(lab: TestRoom, readings: Sequence[RawReading]) -> None:
    """Some were heard live on their own day, and one just now."""
    lab.take(*readings, RawReading("p1", Q.TEMPERATURE, NOW_MS - 1000, 25.0, "Cel"))


def the_same(one: TestRoom, other: TestRoom) -> None:
    """Everything kept, but for the last bit of what is derived."""
    found, wanted = kept(one), kept(other)
    assert found.keys() == wanted.keys()
    for name, rows in wanted.items():
        assert len(found[name]) == len(rows), name
        for mine, theirs in zip(found[name], rows, strict=True):
            assert list(mine) == [near(part) for part in theirs], name


@pytest.mark.parametrize("size", [37, 180, 2000])
def test_alerts_are_those_of_the_file_in_rising_order(tmp_path: Path, size: int) -> None:
    """Two probes; a day that was heard live lies in the midst of it."""
    readings = troubled(900)
    live, file = readings[800:1000], [*readings[:800], *readings[1000:]]
    with room(opened(tmp_path / "rising"), CARED) as rising, room(opened(tmp_path / "falling"), CARED) as falling:
        for lab, rows in ((rising, file), (falling, file[::-1])):
            heard(lab, live)
            assert import_all(lab, rows, size) == (len(file), 0)
            settle(lab)
        the_same(falling, rising)
        assert alerts(falling) == alerts(rising)
        spans = [row.ended_ms - row.since_ms for row in rising.service.store.state.alerts(None, 99) if row.ended_ms]
        assert max(spans) > 60_000 * size / 2 or size > 999, "or no alert is longer than a block"


def test_a_channel_with_one_moment_a_block(tmp_path: Path) -> None:
    """A reading an hour beside one a minute: it goes with the block as a whole."""
    minutes = [one for one in troubled(900) if one.quantity is Q.TEMPERATURE]
    slow = [
        RawReading("p2", Q.OXYGEN_SATURATION, one.time_ms, 40.0 if 3 < n < 11 else 95.0, "%")
        for n, one in enumerate(minutes[::60])
    ]
    readings = sorted([*minutes, *slow], key=lambda one: one.time_ms)
    with room(opened(tmp_path / "rising"), CARED) as rising, room(opened(tmp_path / "falling"), CARED) as falling:
        import_all(rising, readings, 61)
        import_all(falling, readings[::-1], 61)
        assert alerts(falling) == alerts(rising)
        assert any("p2" in str(row[0]) for row in alerts(rising)), (
            "its own long alert: no water is known to derive with"
        )


def test_killed_on_the_way_and_while_it_ends(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The power goes in every block, and again and again while the file is judged in order."""
    monkeypatch.setattr(past_held, "ROWS", 100)
    readings = troubled(300)
    with room(opened(tmp_path / "rising"), CARED) as rising, room(opened(tmp_path / "falling"), CARED) as falling:
        import_all(rising, readings, 180)
        for start in range(len(readings), 0, -150):
            block = columns(readings[start - 150 : start][::-1])
            falling.restart()
            with pytest.raises(PowerCut):
                keeper(falling).take(block, NOW_MS, after(1))
            falling.restart()
            keeper(falling).take(block, NOW_MS)
        ends = 0
        while True:
            falling.restart()
            keep = keeper(falling)
            done = keep._windows.end(keep._done, NOW_MS) if keep._done and keep._done.held else None
            if done is None:
                break
            ends += 1
        assert ends > 5, "or there was nothing to break off"
        assert alerts(falling) == alerts(rising)


def test_rising_at_first_and_falling_then(tmp_path: Path) -> None:
    """A file pasted together of both: nothing is lost, nothing is told twice."""
    readings = troubled(900)
    early, late = readings[:900], readings[900:]
    with room(opened(tmp_path / "pasted"), CARED) as pasted, room(opened(tmp_path / "parts"), CARED) as parts:
        import_all(pasted, [*late, *early[::-1]], 90)
        import_all(parts, late, 90)
        import_all(parts, early, 90)
        settle(pasted)
        settle(parts)
        the_same(pasted, parts)
        assert alerts(pasted) == alerts(parts)


def test_judged_in_pieces(tmp_path: Path) -> None:
    """Who waits for it hears of each piece."""
    with room(opened(tmp_path / "falling"), CARED) as lab:
        keep = keeper(lab)
        keep.take(columns(troubled(300)[::-1]), NOW_MS)
        pieces: list[int] = []
        keep.finish(lambda: pieces.append(1))
        assert len(pieces) >= 3 * 300 // 50
        assert lab.service.store.past.unjudged.of(7) == {}


TIMES = st.lists(st.tuples(st.integers(0, 40), st.integers(0, 9)).map(lambda one: (one[0], one[0] + one[1])))


@settings(deadline=None, max_examples=200)
@given(TIMES, st.integers(0, 50), st.integers(0, 50))
def test_stretches_are_sets_of_moments(given_ms: list[tuple[int, int]], from_ms: int, to_ms: int) -> None:
    """Union, cut and membership beside Python's sets."""
    spans = np.array(given_ms, np.int64).reshape(-1, 2)
    moments = {time for first, last in given_ms for time in range(first, last + 1)}
    whole = union(spans)
    times = np.arange(-2, 60, dtype=np.int64)
    assert set(times[inside(times, whole)].tolist()) == moments
    cut = clipped(whole, from_ms, to_ms)
    assert set(times[inside(times, cut)].tolist()) == {time for time in moments if from_ms <= time < to_ms}
    assert (np.diff(whole.ravel()[1:-1].reshape(-1, 2)) > 0).all()
    again = spans_of(times, inside(times, whole))
    assert set(times[inside(times, union(again))].tolist()) == moments
