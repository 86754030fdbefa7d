"""Alerts of derived values do not depend on which of two files came first; going over cuts no import's alert."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from api.services import again
from tests.api.test_keep_past import alerts, columns, import_all
from tests.api.test_line_same import opened, settle
from tests.support.rooms import NOW_MS, TestRoom, room

Q = Quantity
MINUTE_MS, DAY_MS = 60_000, 86_400_000
START_MS = NOW_MS - 9 * DAY_MS
Files = tuple[list[RawReading], list[RawReading]]


@pytest.fixture(autouse=True)
def small(monkeypatch: pytest.MonkeyPatch) -> None:
    """Pieces whose borders lie within alerts."""
    monkeypatch.setattr(again, "PIECE", 100)


@pytest.fixture
def files() -> Files:
    """p2's saturation, very low for two stretches, and its temperature."""
    low = [140 < n < 420 or 600 < n < 660 for n in range(800)]
    said = [
        RawReading("p2", Q.OXYGEN_SATURATION, START_MS + n * MINUTE_MS, 25.0 + n % 3 if bad else 93.0 + n % 3, "%")
        for n, bad in enumerate(low)
    ]
    warm = [
        RawReading("p2", Q.TEMPERATURE, START_MS + n * MINUTE_MS, 77.0 + 0.1 * (n % 4), "[degF]") for n in range(800)
    ]
    return said, warm


@pytest.fixture
def lab(tmp_path: Path) -> Iterator[TestRoom]:
    """Two tanks."""
    with room(tmp_path) as one:
        yield one


def low_oxygen(lab: TestRoom) -> list[tuple[object, ...]]:
    """Alerts of the derived mg/L."""
    return [one for one in alerts(lab) if str(one[0]).startswith("t2/low_oxygen/p2/oxygen/")]


def test_either_file_first(tmp_path: Path, files: Files) -> None:
    """Saturation alone gives no mg/L; once the temperature is there, its alerts are found as if it had come first."""
    said, warm = files
    with room(opened(tmp_path / "warm")) as first, room(opened(tmp_path / "said")) as second:
        for lab, order in ((first, (warm, said)), (second, (said, warm))):
            for file in order:
                import_all(lab, file, 333)
                settle(lab)
        assert len(low_oxygen(first)) == 2
        assert low_oxygen(second) == low_oxygen(first)
        ended = [row.ended_ms for row in second.service.store.state.alerts(None, 99)]
        assert None not in ended, "nothing of the past stands"


def test_what_was_known_is_not_told_twice(lab: TestRoom, files: Files) -> None:
    """A second probe, or the same file once more, changes values and no alerts."""
    said, warm = files
    import_all(lab, [*warm, *said], 5000)
    settle(lab)
    before = alerts(lab)
    beside = [RawReading("p1", Q.TEMPERATURE, one.time_ms, 25.0, "Cel") for one in warm]
    import_all(lab, beside, 333)
    import_all(lab, said, 333)
    settle(lab)
    assert [one for one in alerts(lab) if "p2" in str(one[0])] == before


def test_late_live_readings_do_not_cut_an_imports_alert(tmp_path: Path, files: Files) -> None:
    """A collector delivers an old hour of the same probe while a file of it is read."""
    said, warm = files
    spooled = [
        RawReading("p2", Q.OXYGEN_SATURATION, NOW_MS - DAY_MS + n * MINUTE_MS, 93.0 + n % 3, "%") for n in range(30)
    ]
    with room(opened(tmp_path / "alone")) as alone, room(opened(tmp_path / "both")) as both:
        for lab in (alone, both):
            lab.take(RawReading("p2", Q.OXYGEN_SATURATION, NOW_MS - 1000, 95.0, "%"))
            import_all(lab, warm, 5000)
            settle(lab)
            keep = lab.service.importing.keep
            keep.take(columns(said[:300]), NOW_MS)
            if lab is both:
                lab.take(*spooled)
                settle(lab)
            keep.take(columns(said[300:]), NOW_MS)
            keep.finish()
            settle(lab)
        assert len(low_oxygen(alone)) == 2
        assert low_oxygen(both) == low_oxygen(alone)
