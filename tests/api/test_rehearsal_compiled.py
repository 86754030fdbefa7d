"""The calm run compiled remembers and tells exactly what the same rules tell in the interpreter: to the last bit."""

from __future__ import annotations

import sys
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from api.judge.fall_shape import FallShape
from api.judge.standstill import Habit
from api.rehearsal import compiled, whole
from api.rehearsal.command import plan_of
from api.rehearsal.compiled import Run, compiled_run, kept_in, possible
from api.rehearsal.looks import Silences
from api.rehearsal.whole import by_columns, rehearsed
from tests.support.both_ways import gone_through
from tests.support.columns import recordings
from tests.support.mild_room import mild, mild_text

ROOMS: list[tuple[int, list[list[str]], float, float, float]] = [
    (1, [["both"]], 240, 60, 0.01),
    (2, [["heat", "air"]], 240, 60, 0.01),
    (3, [["both"], ["both"], ["both"], ["both"]], 72, 120, 0.01),
    (4, [["both"], ["heat"], ["salts", "air"]], 96, 60, 0.1),
    (5, [["both"], ["both"]], 200, 300, 0.01),
    (6, [["both"], ["both"]], 400, 600, 0.05),
    (7, [["both"]], 30, 10, 0.01),
    (8, [["both"], ["both"], ["both"]], 130, 60, 0.02),
    (9, [["percent"], ["heat", "percent"]], 150, 120, 0.01),
]
"""Seed, probes of each tank, hours, seconds between readings, steps they are said in."""


@pytest.fixture(scope="module")
def run() -> Run:
    """Where this fails rehearsals are slow and right; here they have to be quick."""
    found = compiled_run()
    assert found is not None, "the calm run could not be compiled on this machine"
    return found


@pytest.mark.parametrize(("seed", "kinds", "hours", "every_s", "step"), ROOMS)
def test_compiled_and_interpreted_are_the_same(
    tmp_path: Path, run: Run, seed: int, kinds: list[list[str]], hours: float, every_s: float, step: float
) -> None:
    """What is told, and everything that is remembered at the end, of rooms where something happens now and then."""
    (tmp_path / "room.toml").write_text(mild_text(kinds, every_s), encoding="utf-8")
    plan = plan_of(tmp_path / "room.toml")
    readings = mild(seed, kinds, hours, every_s, step)
    columns = recordings(readings)
    assert by_columns(plan, columns)
    end_ms = readings[-1].time_ms + 3_600_000
    told, kept, _ = gone_through(plan, columns, end_ms, None)
    told_too, kept_too, rows = gone_through(plan, columns, end_ms, run)
    assert told_too == told
    for one, two in zip(kept_too, kept, strict=True):
        assert one == two
    assert rows > len(readings) / 4, "hardly anything went through the compiled run: this shows nothing"


def test_long_recordings_are_gone_through_compiled_and_short_ones_are_not(
    tmp_path: Path, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Loading it takes longer than a short recording."""
    (tmp_path / "room.toml").write_text(mild_text([["both"]], 60), encoding="utf-8")
    plan, asked = plan_of(tmp_path / "room.toml"), list[str]()
    readings = mild(9, [["both"]], 12, 60, 0.01)

    def counted() -> Run:
        asked.append("compiled")
        return run

    monkeypatch.setattr(whole, "compiled_run", counted)
    rehearsed(plan, recordings(readings), readings[-1].time_ms)
    assert asked == []
    monkeypatch.setattr(whole, "COMPILED_FROM", len(readings))
    monkeypatch.setattr(whole, "is_kept", lambda: True)
    rehearsed(plan, recordings(readings), readings[-1].time_ms)
    assert asked == ["compiled"]


def test_where_nothing_may_be_compiled_there_is_no_run(monkeypatch: pytest.MonkeyPatch) -> None:
    """A service that may not execute what it writes, and a machine without the compiler."""

    def refused(*_: Any, **__: Any) -> None:
        raise PermissionError("not allowed to write and execute")

    assert possible()
    monkeypatch.setattr(
        compiled, "mmap", SimpleNamespace(mmap=refused, PAGESIZE=4096, PROT_READ=1, PROT_WRITE=2, PROT_EXEC=4)
    )
    assert not possible()
    assert compiled_run.__wrapped__() is None
    monkeypatch.setattr(compiled, "find_spec", lambda name: None)
    assert not possible()


def test_what_was_compiled_is_kept_where_only_this_user_writes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Beside the program, else in the user's own cache; other sources have another folder."""
    here = kept_in()
    monkeypatch.setattr(sys, "prefix", "/proc/1/nowhere")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    assert kept_in().parent == tmp_path / "intermolt" / "compiled"
    assert kept_in().name == here.name
    monkeypatch.setattr(compiled, "SOURCES", compiled.SOURCES[1:])
    assert kept_in().name != here.name


def test_methods_of_one_name_have_to_be_alike(monkeypatch: pytest.MonkeyPatch) -> None:
    """Numba knows one method of a name: who adds another is told so, and what to do."""
    monkeypatch.setitem(compiled.METHODS, Habit, "take learn odds")
    monkeypatch.setattr(Habit, "odds", lambda self, more: more)
    monkeypatch.setitem(compiled.METHODS, FallShape, "keep steepest odds")
    monkeypatch.setattr(FallShape, "odds", lambda self: 0.0, raising=False)
    with pytest.raises(TypeError, match="odds takes different numbers of arguments"):
        compiled._teach()


@settings(max_examples=200, deadline=None)
@given(
    st.lists(st.lists(st.integers(0, 400), min_size=1, max_size=12, unique=True), min_size=1, max_size=3),
    st.lists(st.integers(5, 60), min_size=3, max_size=3),
)
def test_silences_known_before_are_those_found_by_looking(spoken: list[list[int]], missed: list[int]) -> None:
    """By looking at every moment: a probe has missed its readings when its newest one is older than it may be."""
    times = [np.array(sorted(one), np.int64) for one in spoken]
    silences = Silences()
    silences.know(times, missed[: len(times)])

    def missing(now: int) -> bool:
        heard = [one[one < now] for one in times]
        return any(now - (int(one[-1]) if len(one) else now) > most for one, most in zip(heard, missed, strict=False))

    for now in range(max(int(one[0]) for one in times) + 1, 460):
        until = silences.begin_ms(now)
        if missing(now):
            assert until < now
        else:
            assert until >= now
            assert not any(missing(later) for later in range(now, min(until, 460) + 1))
            assert until >= 460 or missing(until + 1)
