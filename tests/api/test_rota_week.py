"""The rota of a week, worked out by hand; days on which the clocks change keep their hours."""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path

from tests.support.reach_room import LADDER, reach_room

TWO = """
[[person]]
name = "Ana"
channels = ["json://ana/"]
weekdays = "Mon-Fri"
hours = "08:00-17:00"
[[person]]
name = "Ben"
channels = ["json://ben/"]
weekdays = "Sat"
hours = "22:00-06:00"
"""


def test_a_week(tmp_path: Path) -> None:
    """Monday: Ana's day; Saturday night is Ben's, over midnight into Sunday; Sunday is nobody's, so Ana's by order."""
    with reach_room(tmp_path, TWO, LADDER) as one:
        week = one.service.reaching.rota.week(one.now_ms)
    assert [day.day for day in week] == [date(2026, 9, 21 + n) for n in range(7)]
    said = [[(t.from_min, t.to_min, t.first, t.there) for t in day.turns] for day in week]
    assert said[0] == [(0, 480, "Ana", ()), (480, 1020, "Ana", ("Ana",)), (1020, 1440, "Ana", ())]
    assert said[5] == [(0, 1320, "Ben", ()), (1320, 1440, "Ben", ("Ben",))]
    assert said[6] == [(0, 360, "Ben", ("Ben",)), (360, 1440, "Ana", ())]


def test_a_day_with_a_change_of_clocks_has_all_its_hours(tmp_path: Path) -> None:
    """In Vienna the night of 25 October 2026 has 25 hours."""
    with reach_room(tmp_path, TWO, LADDER) as one:
        text = (tmp_path / "room.toml").read_text(encoding="utf-8").replace('"UTC"', '"Europe/Vienna"')
        (tmp_path / "room.toml").write_text(text, encoding="utf-8")
        one.restart()
        now_ms = round(datetime(2026, 10, 24, 12, tzinfo=UTC).timestamp() * 1000)
        saturday, sunday = one.service.reaching.rota.week(now_ms)[:2]
    assert [(t.from_min, t.to_min, t.there) for t in saturday.turns][-1] == (1320, 1440, ("Ben",))
    assert [(t.from_min, t.to_min, t.there) for t in sunday.turns] == [(0, 360, ("Ben",)), (360, 1440, ())]


def test_nobody(tmp_path: Path) -> None:
    """No people, no rota."""
    with reach_room(tmp_path, "", LADDER) as one:
        assert one.service.reaching.rota.week(one.now_ms) == ()
