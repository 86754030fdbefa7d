"""A file's readings kept with kills in between end as those never broken off: what was to be judged still is."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
import pytest

from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from api.services import keep_past
from api.services.keep_past import KeepPast
from api.services.keeping import Note
from tests.api.test_keep_past import CARE, alerts, columns, import_all
from tests.api.test_line_same import kept, opened
from tests.support.rooms import NOW_MS, ROOM, TestRoom, room

Q = Quantity
MINUTE_MS, DAY_MS = 60_000, 86_400_000
JOB = 7
CARED = (
    ROOM.replace('id = "t1"', 'id = "t1"\ncare = "river"', 1)
    + CARE.replace("[care.oxygen]", "change_per_hour = 1.0\n[care.oxygen]")
    + """
[care.oxygen_saturation]
tolerable_low = 60.0
danger_low = 40.0
deadband = 2.0
on_delay_s = 120
danger_on_delay_s = 60
off_delay_s = 120
"""
)
"""Derived saturation is judged as well."""


def troubled(rows: int, probes: Sequence[str] = ("p1",)) -> list[RawReading]:
    """Readings a minute with long and short excursions, spikes, a stuck hour and a jump of temperature."""
    chance = np.random.default_rng(5)
    number = np.arange(rows)
    warm = 25.0 + 0.4 * np.sin(number / 90) + chance.normal(0, 0.03, rows)
    oxygen = 7.6 + 0.3 * np.sin(number / 70) + chance.normal(0, 0.05, rows)
    warm[(number % 700 > 180) & (number % 700 < 420)] += 9.0
    oxygen[(number % 500 > 90) & (number % 500 < 260)] -= 5.5
    oxygen[(number % 410 > 300) & (number % 410 < 362)] = 7.31
    warm[number % 97 == 50] += 3.0
    start_ms = NOW_MS - 20 * DAY_MS
    return [
        RawReading(probe, quantity, start_ms + int(n) * MINUTE_MS, round(float(value[n]) + 0.01 * place, 2), unit)
        for n in number
        for place, probe in enumerate(probes)
        for quantity, value, unit in ((Q.TEMPERATURE, warm, "Cel"), (Q.OXYGEN, oxygen, "mg/L"))
    ]


def keeper(lab: TestRoom) -> KeepPast:
    """Who keeps a file's readings in a service that has just started."""
    keep = lab.service.importing.keep
    keep.begin(JOB)
    return keep


class PowerCut(Exception):
    """Everything that is not on disk is gone."""


def after(pieces: int) -> Note:
    """Ends it all with the piece of work after so many."""
    left = iter(range(pieces))

    def cut(taken: int) -> None:
        if next(left, None) is None:
            raise PowerCut

    return cut


def broken(lab: TestRoom, readings: Sequence[RawReading], size: int, kill: Callable[[int], bool]) -> None:
    """Block by block, with a power cut after some blocks, and in the midst of them."""
    keep = keeper(lab)
    for number, start in enumerate(range(0, len(readings), size)):
        block = columns(readings[start : start + size])
        if kill(number):
            with pytest.raises(PowerCut):
                keep.take(block, lab.now_ms, after(1))
            lab.restart()
            keep = keeper(lab)
        keep.take(block, lab.now_ms)
        if kill(number + 1):
            lab.restart()
            keep = keeper(lab)
    keep.finish()


@pytest.mark.parametrize("every", [1, 2])
def test_alerts_are_those_of_an_import_never_broken(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, every: int
) -> None:
    """Killed at every block or every other one, in the midst of it and after it."""
    monkeypatch.setattr(keep_past, "ROWS", 60)
    readings = troubled(900)
    with room(opened(tmp_path / "whole"), CARED) as whole, room(opened(tmp_path / "broken"), CARED) as other:
        import_all(whole, readings, 180)
        broken(other, readings, 180, lambda number: number % every == 0)
        assert kept(other) == kept(whole)
        assert alerts(other) == alerts(whole)
        kinds = {(row.kind, row.quantity) for row in whole.service.store.state.alerts(None, 99)}
        lost = {("heat", Q.TEMPERATURE), ("low_oxygen", Q.OXYGEN_SATURATION), ("change_in_hour", Q.TEMPERATURE)}
        assert kinds >= lost, "or there was nothing to lose"
        assert other.service.store.past.unjudged.of(JOB) == {}


def test_killed_while_it_ends(tmp_path: Path) -> None:
    """Nothing more is read after the kill; what was to be judged still is, and once."""
    readings = troubled(300)
    with room(opened(tmp_path / "whole"), CARED) as whole, room(opened(tmp_path / "broken"), CARED) as other:
        import_all(whole, readings, 180)
        keep = keeper(other)
        keep.take(columns(readings), other.now_ms)
        for _ in range(2):
            other.restart()
            keeper(other).finish()
        assert alerts(other) == alerts(whole)


def test_another_import_leaves_what_is_to_be_judged(tmp_path: Path) -> None:
    """One was killed; another one of another tank is read first and ends."""
    readings = troubled(300)
    with room(opened(tmp_path / "whole"), CARED) as whole, room(opened(tmp_path / "broken"), CARED) as other:
        import_all(whole, readings, 180)
        keeper(other).take(columns(readings[:260]), other.now_ms)
        other.restart()
        between = other.service.importing.keep
        between.begin(JOB + 1)
        between.take(columns(RawReading("p2", Q.TEMPERATURE, NOW_MS - DAY_MS, 77.0, "[degF]") for _ in "a"), NOW_MS)
        between.finish()
        keep = keeper(other)
        keep.take(columns(readings[260:]), other.now_ms)
        keep.finish()
        mine = [row for row in alerts(other) if "p2" not in str(row[0])]
        assert mine == alerts(whole)
