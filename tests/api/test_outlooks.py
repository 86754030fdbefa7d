"""Forecasts live and die with the transactions of their readings, and begin anew from what was kept."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from api.domain.alert import AlertEvent, AlertKind, Event, Priority, Subject
from api.domain.cause import Cause, CauseName
from api.domain.outlook import NOTHING, Outlook, TimeTo
from api.domain.quantity import Quantity
from api.domain.reading import CheckedReading, Flag
from api.services import reasons
from tests.support.rooms import TestRoom, room


@pytest.fixture
def lab(tmp_path: Path) -> Iterator[TestRoom]:
    """One tank t1 whose oxygen has fallen by 2.4 mg/L an hour for 40 minutes."""
    with room(tmp_path) as made:
        for minute in range(40):
            made.minute(7.0 - 0.04 * minute + 0.005 * (minute % 3))
        yield made


def ahead(lab: TestRoom) -> Outlook:
    """Where t1's oxygen is heading."""
    return lab.service.foresight.ahead("p1", Quantity.OXYGEN)


def test_the_page_and_the_phone_hear_the_same_forecast(lab: TestRoom) -> None:
    """5.44 mg/L falling by 2.4 an hour: about an hour to 3 mg/L."""
    found = ahead(lab)
    assert found.limit == 3.0
    assert found.left_s == pytest.approx(3600, rel=0.1)
    assert found.low_s is not None
    now = lab.service.read.tank("t1", lab.now_ms)
    assert now.time_left_s == found.left_s
    assert "left (" in now.words


def test_after_a_restart_the_past_is_known(lab: TestRoom) -> None:
    """One reading later the fall of before is the forecast's past."""
    lab.restart()
    assert ahead(lab) is NOTHING
    lab.minute(5.4)
    assert ahead(lab).left_s == pytest.approx(3600, rel=0.25)


@pytest.mark.parametrize("minutes", range(1, 6))
def test_after_a_restart_the_newest_is_heard_at_once(lab: TestRoom, minutes: int) -> None:
    """Wherever in a span of the past the service starts: no mean of a time to come is heard before what comes then."""
    for minute in range(minutes):
        lab.minute(5.4 - 0.04 * minute)
    lab.restart()
    lab.minute(5.2)
    watch = lab.service.ingest.judging.outlooks.tank("t1")
    assert watch is not None
    assert watch.channels["p1", Quantity.OXYGEN].last == 5.2


def test_what_was_not_kept_was_not_heard(lab: TestRoom) -> None:
    """A transaction that fails takes its forecast along; the next reading begins it from what is on disk."""
    judging = lab.service.ingest.judging
    judging.begin()
    channel = lab.service.plan().channel("p1", Quantity.OXYGEN)
    kept = lab.service.store.revisions.newest("p1", Quantity.OXYGEN, lab.now_ms + 1, 1)[0]
    watch = judging.outlooks.tank("t1")
    assert watch is not None
    reading = CheckedReading("p1", Quantity.OXYGEN, kept.time_ms + 60_000, 1.0, "mg/L", 1.0, Flag.GOOD)
    judging.judge(reading, channel, False, [])
    judging.done()
    judging.settle(False)
    assert judging.outlooks.tank("t1") is None
    lab.minute(5.4)
    assert ahead(lab).left_s == pytest.approx(3600, rel=0.25)


def test_reasons_come_back_as_they_were_kept() -> None:
    """Causes, evidence and both limits; a cause of a newer version is told as not known."""
    event = AlertEvent(
        Subject("t1", AlertKind.LOW_OXYGEN, "p1", Quantity.OXYGEN), Event.RAISED, 1, Priority.URGENT, 5.0, 3.0, 1,
        outlook=Outlook(-1.0, 3.0, 7200.0, 6000.0, None, TimeTo(3.0, 7200.0, 6000.0, None, 0.9), None, 1.5),
        causes=(Cause(CauseName.LOST_AIR, 0.8, ("it falls",)),),
    )  # fmt: skip
    text = reasons.written(event)
    assert reasons.read(text) == (event.causes, event.outlook)
    assert reasons.read(text.replace("lost_air", "something_new"))[0][0].name is CauseName.NOT_KNOWN
    assert reasons.read("") == ((), None)
