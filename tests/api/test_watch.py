"""Silence: told in time, told once, ended only by a reading, and never by a restart."""

from __future__ import annotations

import logging
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from api.domain.alert import AlertKind, AlertState
from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from tests.support.rooms import TestRoom, room


@pytest.fixture
def lab(tmp_path: Path) -> Iterator[TestRoom]:
    """Two tanks."""
    with room(tmp_path) as one:
        yield one


def other(lab: TestRoom) -> None:
    """The other probe speaks."""
    lab.take(RawReading("p2", Quantity.TEMPERATURE, lab.now_ms, 80.0, "[degF]"))


def silence(lab: TestRoom, minutes: int, *, p2: bool) -> None:
    """Minutes pass without p1."""
    for _ in range(minutes):
        lab.now_ms += 60_000
        if p2:
            other(lab)
        lab.service.watch.look()
    lab.service.deliver.once()


def test_a_restart_does_not_end_the_silence(lab: TestRoom) -> None:
    """A service that starts has heard nothing yet; the alert stands, and nobody reads that it is over."""
    lab.minute(7.0)
    silence(lab, 10, p2=True)
    lab.restart()
    silence(lab, 3, p2=True)
    alerts = lab.service.read.alerts(None)
    assert [(one.kind, one.state) for one in alerts] == [(AlertKind.QUIET_PROBE, AlertState.UNACKNOWLEDGED)]
    assert [title for title, _ in lab.notifier.sent] == ["t1: probe quiet"]
    lab.minute(7.0)
    silence(lab, 1, p2=True)
    assert [title for title, _ in lab.notifier.sent] == ["t1: probe quiet", "t1: probe quiet is over"]


def test_a_restart_does_not_end_a_quiet_room(lab: TestRoom) -> None:
    """Told once, whatever the restarts, and over with the first reading."""
    lab.minute(7.0)
    other(lab)
    silence(lab, 12, p2=False)
    lab.restart()
    silence(lab, 12, p2=False)
    assert [title for title, _ in lab.notifier.sent] == ["URGENT Test room: whole room quiet"]
    lab.minute(7.0)
    other(lab)
    silence(lab, 1, p2=True)
    assert [title for title, _ in lab.notifier.sent][1:] == ["Test room: whole room quiet is over"]


def test_readings_of_a_clock_that_was_ahead_are_told_of(lab: TestRoom) -> None:
    """Until their time has come new readings are kept but judged late: a person is told, and hears when it is over."""
    lab.minute(7.0)
    lab.now_ms += 5 * 3_600_000
    lab.minute(7.0)
    lab.now_ms -= 5 * 3_600_000
    silence(lab, 1, p2=True)
    assert [title for title, _ in lab.notifier.sent] == ["URGENT Test room: readings dated ahead"]
    assert "judged late. Look at the tanks yourself" in lab.notifier.sent[0][1]
    lab.now_ms += 5 * 3_600_000
    lab.minute(7.0)
    silence(lab, 1, p2=True)
    assert [title for title, _ in lab.notifier.sent][1:] == ["Test room: readings dated ahead is over"]


def test_one_probe_stays_away_after_the_room_is_back(lab: TestRoom) -> None:
    """The room is over, the probe is told by itself."""
    lab.minute(7.0)
    other(lab)
    silence(lab, 12, p2=False)
    silence(lab, 2, p2=True)
    assert {(one.kind, one.state) for one in lab.service.read.alerts(None)} == {
        (AlertKind.QUIET_ROOM, AlertState.RETURNED_UNACKNOWLEDGED),
        (AlertKind.QUIET_PROBE, AlertState.UNACKNOWLEDGED),
    }


def test_a_probe_never_heard_of_is_told(lab: TestRoom) -> None:
    """Counted from the service's start."""
    silence(lab, 8, p2=True)
    assert lab.service.read.alerts(None) == ()
    silence(lab, 1, p2=True)
    assert [(one.kind, one.probe) for one in lab.service.read.alerts(None)] == [(AlertKind.QUIET_PROBE, "p1")]


def test_a_silence_says_its_age(lab: TestRoom) -> None:
    """From the last reading, not from when it was noticed."""
    lab.minute(7.0)
    since_ms = lab.now_ms
    silence(lab, 20, p2=True)
    assert lab.service.read.alerts(None)[0].since_ms == since_ms
    assert "probe quiet for 9 min. Look at the animal first" in lab.notifier.sent[0][1]


def test_the_watch_outlives_a_fault(
    lab: TestRoom, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """It is logged, its part of health goes stale, and it looks again."""
    monkeypatch.setattr(lab.service.watch.rounds, "every_s", 0.01)
    broken, plan = True, lab.service.watch._plan

    def failing() -> object:
        if broken:
            raise RuntimeError("a fault nobody thought of")
        return plan()

    monkeypatch.setattr(lab.service.watch, "_plan", failing)
    with caplog.at_level(logging.ERROR, "intermolt.rounds"):
        lab.service.watch.rounds.start()
        _wait(lambda: "nobody thought of" in caplog.text)
        lab.now_ms += 120_000
        assert lab.service.health()["watch"] == "silent for 120 s"
        broken = False
        _wait(lambda: lab.service.health()["watch"] == "well")
    lab.service.watch.rounds.stop()


def _wait(true: Callable[[], bool]) -> None:
    end_s = time.monotonic() + 5
    while not true():
        assert time.monotonic() < end_s
        time.sleep(0.01)
