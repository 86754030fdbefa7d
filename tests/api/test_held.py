"""What comes again and again is held; who was told that it began is told that it is over, and answers by link."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.support.reach_room import LADDER, PEOPLE, SITE, ReachRoom, reach_room

NOTIFY = """
[[notify]]
name = "board"
url = "json://board/"
"""
LOW, LOWER, FINE, DEADLY = {"p1": 4.6}, {"p1": 4.3}, {"p1": 7.5}, {"p1": 2.0}
EVENING = "2026-09-21T21:45"


def came_before(one: ReachRoom, times: int = 3) -> None:
    """The alert came so often within the last minutes."""
    store, row = one.service.store, one.service.read.alerts(None)[0].id

    def note() -> None:
        for _ in range(times):
            store.state.add_event(row, "raised", one.now_ms)

    store.write(note).result()


def steps(one: ReachRoom) -> list[str]:
    """The newest alert's steps."""
    return [step.event for step in one.service.read.alert(one.service.read.alerts(None)[0].id).steps]


def test_who_was_told_hears_the_end_of_what_was_held(tmp_path: Path) -> None:
    """Told at 21:56, over and back after Ana's hours have ended, held then: at 07:00 she hears that it is over."""
    with reach_room(tmp_path, PEOPLE + NOTIFY, LADDER, EVENING) as one:
        one.turn(13, LOW)
        assert ("ana-phone", "t1: low oxygen") in one.told()
        one.turn(14, FINE)
        came_before(one)
        one.turn(12, LOW)
        assert steps(one)[-2:] == ["raised", "held"]
        one.turn(14, FINE)
        one.told()
        one.turn(9 * 60)
        assert one.told() == [("ana-phone", "t1: low oxygen is over")]


def test_what_is_held_is_told_to_nobody_and_neither_is_its_end(tmp_path: Path) -> None:
    """All had heard that the time before was over."""
    with reach_room(tmp_path, PEOPLE + NOTIFY) as one:
        one.turn(13, LOW)
        one.turn(14, FINE)
        assert ("board", "t1: low oxygen is over") in one.told()
        came_before(one)
        one.turn(12, LOW)
        one.turn(14, FINE)
        assert steps(one)[-2:] == ["held", "returned"]
        assert one.told() == []


def test_held_then_urgent_is_told_and_so_is_its_end(tmp_path: Path) -> None:
    """It was held as an alert for today and then became urgent."""
    with reach_room(tmp_path, PEOPLE + NOTIFY) as one:
        one.turn(13, LOW)
        one.turn(14, FINE)
        came_before(one)
        one.turn(12, LOW)
        one.told()
        one.turn(5, DEADLY)
        assert {("board", "URGENT t1: low oxygen"), ("ana-phone", "URGENT t1: low oxygen")} <= set(one.told())
        one.turn(14, FINE)
        said = one.told()
        assert {("board", "t1: low oxygen is over"), ("ana-phone", "t1: low oxygen is over")} <= set(said)


@pytest.mark.parametrize("rest", ["shelf", "work"])
def test_what_stands_after_a_rest_can_be_answered(tmp_path: Path, rest: str) -> None:
    """The room's own address gets a link as well, and the link is open."""
    with reach_room(tmp_path, PEOPLE + NOTIFY) as one:
        one.turn(13, LOW)
        row = one.service.read.alerts(None)[0].id
        resting = one.service.resting
        (resting.shelve(row, 20, "Ana", "known") if rest == "shelf" else resting.work("t1", "Ana")).result()
        one.by.sent.clear()
        one.turn(32, LOWER)
        resting.look()
        one.turn(2, LOWER)
        said = {name: body for name, title, body in one.by.sent if "low oxygen" in title}
        link = re.search(rf"Answer here: {SITE}/a/(\S+)", said["board"])
        assert link is not None
        now = one.service.reaching.answering.link(link[1], one.now_ms)
        assert now is not None
        assert now.open
        assert now.link.alerts == (row,)
        for name in ("board", "ana-phone"):
            assert "t1: oxygen 4.3 mg/L" in said[name][:160], "as it is now, not as it began"
