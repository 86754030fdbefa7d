"""Figures of the alerts, worked out by hand from the definitions of ISA-18.2 (clause 16.4, from a public summary)."""

from __future__ import annotations

from pathlib import Path

import pytest

from api.domain.alert import AlertKind, Priority
from api.judge.performance import DAY_MS, Activation, Standing, performance
from tests.support.rooms import room

MINUTE_MS = 60_000
URGENT, TODAY, NOTE = Priority.URGENT, Priority.TODAY, Priority.NOTE
THREE_DAYS = (0, DAY_MS, 2 * DAY_MS, 3 * DAY_MS)


def came(*minutes: float, subject: str = "a", priority: Priority = TODAY) -> list[Activation]:
    """Alerts at minutes from the start."""
    return [Activation(round(one * MINUTE_MS), subject, priority) for one in minutes]


def test_counts_by_day_and_in_ten_minutes() -> None:
    """2 + 0 + 13: five a day; the slot from 2880 to 2890 min holds 12, a window one minute later holds them too."""
    burst = [2880 + n * 0.5 for n in range(12)]
    made = performance([*came(0, 1439), *came(*burst, 2895)], [], THREE_DAYS, [])
    assert (made.total, made.per_day, made.mean_per_day) == (15, (2, 0, 13), 5.0)
    assert made.most_in_slot == 12
    assert made.crowded == pytest.approx(1 / 432)
    assert made.flood == pytest.approx(10 / 4320)


def test_a_flood_goes_on_until_fewer_than_five() -> None:
    """11, then 5, then 4 in ten minutes: two slots of flood."""
    times = [n * 0.5 for n in range(11)] + [10 + n for n in range(5)] + [20 + n for n in range(4)]
    assert performance(came(*times), [], (0, DAY_MS), []).flood == pytest.approx(20 / 1440)
    calm = [n * 0.9 for n in range(10)]
    assert performance(came(*calm), [], (0, DAY_MS), []).flood == 0.0, "ten are no flood, more than ten are"


def test_chattering_and_fleeting() -> None:
    """Three within 30 minutes chatter, three within 31 do not; over within a minute is fleeting."""
    made = performance([*came(0, 10, 29.9), *came(0, 15, 30, subject="b")], [], (0, DAY_MS), [])
    assert made.chattering == (("a", 3),)
    short = [Activation(0, "a", NOTE, MINUTE_MS), Activation(0, "b", NOTE, MINUTE_MS + 1), Activation(0, "c", NOTE)]
    assert performance(short, [], (0, DAY_MS), []).fleeting == 1


def test_stale_is_more_than_a_day() -> None:
    """One stands from the start, one ended after 23 h, one after 25 h: two are stale on the second day."""
    hour_ms = 60 * MINUTE_MS
    stood = [Standing(1, 0, None), Standing(2, 0, 23 * hour_ms), Standing(3, 10 * hour_ms, 35 * hour_ms)]
    made = performance([], stood, THREE_DAYS, [])
    assert (made.stale_most, made.stale_now) == (2, (1,))
    assert performance([], [Standing(1, 0, None)], (0, DAY_MS), []).stale_now == ()


def test_shares_and_nights() -> None:
    """80 notes, 15 for today, 5 urgent: the split the standard asks for; ten of twenty subjects are half."""
    notes = [one for n in range(16) for one in came(*range(n * 60, n * 60 + 5), subject=f"n{n}", priority=NOTE)]
    days = [one for n in range(3) for one in came(*range(n * 60, n * 60 + 5), subject=f"t{n}", priority=TODAY)]
    urgent = came(10, 20, 700, 800, 1400, subject="u", priority=URGENT)
    answered = [Activation(one.time_ms, "u", URGENT, None, one.time_ms + 120_000) for one in urgent[:1]]
    made = performance([*notes, *days, *urgent[1:], *answered], [], (0, DAY_MS), [(0, 12 * 60 * MINUTE_MS)])
    assert dict(made.split) == {NOTE: 0.80, TODAY: 0.15, URGENT: 0.05}
    assert made.top_share == pytest.approx(0.5)
    assert (made.urgent_nights, made.answered_s) == ((3,), 120.0)


def test_nothing_came() -> None:
    """No shares, no verdict from nothing, no division by it."""
    made = performance([], [], (0, 1), [])
    assert (made.total, made.top_share, made.answered_s, made.flood) == (0, None, None, 0.0)
    assert dict(made.split) == {NOTE: None, TODAY: None, URGENT: None}
    with pytest.raises(ValueError, match="must rise"):
        performance([], [], (5, 5), [])


def test_the_room_s_own_alerts_are_counted(tmp_path: Path) -> None:
    """Raised, over, raised again and acknowledged: two activations of one subject; old readings count nothing."""
    with room(tmp_path) as lab:
        begin_ms = lab.now_ms
        for oxygen in (*[4.5] * 14, *[7.5] * 14, *[4.5] * 14):
            lab.minute(oxygen)
        number = lab.service.read.alerts(None)[0].id
        lab.service.records.acknowledge(number, "Ana", "", lab.now_ms).result()
        now = lab.service.performances.over(30, lab.now_ms + 1)
        assert now.start_ms == begin_ms, "no further back than the room is known"
        assert [(one.tank, one.kind, one.count, one.alert) for one in now.top] == [
            ("t1", AlertKind.LOW_OXYGEN, 2, number)
        ]
        assert now.figures.total == 2
        assert now.possible > 10
