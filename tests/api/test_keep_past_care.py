"""Recorded readings are judged by the care ranges that were in force on their own time, as late readings are."""

from __future__ import annotations

from pathlib import Path

from api.domain.care_change import TANK
from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from api.services.care import Wish
from tests.api.test_keep_past import alerts, import_all
from tests.api.test_line_same import opened, settle
from tests.support.rooms import NOW_MS, TestRoom, room

Q = Quantity
HOUR_MS, MINUTE_MS = 3_600_000, 60_000


def changed_twice(lab: TestRoom) -> None:
    """Oxygen may be lower from eight hours ago, and must be higher again from four hours ago."""
    for hours_ago, limit in ((8, 3.2), (4, 5.5)):
        lab.now_ms = NOW_MS - hours_ago * HOUR_MS
        wish = Wish(TANK, "t1", Q.OXYGEN, {"tolerable_low": limit})
        lab.service.care.change(wish, "Aki", "a trial", confirm=True).result()
    lab.now_ms = NOW_MS
    lab.take(*water(NOW_MS, [7.0]))


def water(start_ms: int, oxygen_mg_l: list[float]) -> list[RawReading]:
    """A minute apart, with a temperature each."""
    out = []
    for n, value in enumerate(oxygen_mg_l):
        at_ms = start_ms + n * MINUTE_MS
        out.append(RawReading("p1", Q.TEMPERATURE, at_ms, 25.0 + 0.02 * (n % 4), "Cel"))
        out.append(RawReading("p1", Q.OXYGEN, at_ms, value + 0.02 * (n % 3), "mg/L"))
    return out


def test_each_reading_by_its_own_time(tmp_path: Path) -> None:
    """The same low oxygen for twelve hours: found late before the first change and after the second, not between."""
    recorded = water(NOW_MS - 12 * HOUR_MS, [4.4] * (11 * 60))
    with room(opened(tmp_path / "late")) as late, room(opened(tmp_path / "file")) as file:
        for lab in (late, file):
            changed_twice(lab)
        for start in range(0, len(recorded), 40):
            late.take(*recorded[start : start + 40])
        settle(late)
        import_all(file, recorded, 333)
        settle(file)
        assert alerts(file) == alerts(late)
        low = [row for row in file.service.store.state.alerts(None, 99) if row.kind == "low_oxygen"]
        hours = sorted((row.since_ms - NOW_MS) / HOUR_MS for row in low if row.quantity == Q.OXYGEN)
        assert [round(hour) for hour in hours] == [-12, -4]
        assert {row.found_late for row in low} == {1}
