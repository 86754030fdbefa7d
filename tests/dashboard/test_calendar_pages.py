"""The molt calendar on the real service: windows, counts a day, clusters in words, soft animals, some tanks only."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from api.domain.husbandry import EventKind
from api.molt.clusters import Cluster
from api.services.molt_calendar import midnights
from dashboard.calendar_view import cluster_line
from dashboard.clock import Clock
from tests.dashboard.caller import Caller
from tests.support.colony import log, settle
from tests.support.rooms import TestRoom

K = EventKind


def stamp(text: str) -> int:
    """A UTC time in ms."""
    return round(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp() * 1000)


def test_an_empty_room_says_so(site: Caller) -> None:
    """And points to where animals are entered."""
    page = site.get("/calendar").text
    assert "No living animal is on record" in page
    assert 'href="/animals"' in page


def test_animals_that_molt_alike_are_a_cluster(site: Caller, lab: TestRoom) -> None:
    """Six with steady intervals of ten days are due together; the berried and the soft are said to be so."""
    for number in range(6):
        animal = settle(lab, f"Tag {number}", "t1", days_ago=120, carapace_mm=16.0)
        for days_ago in range(108, 8, -10):
            log(lab, K.MOLT, animal, days_ago=days_ago)
    mother = settle(lab, "Cleo", "t2", days_ago=90, carapace_mm=30.0)
    log(lab, K.EGGS_SEEN, mother, days_ago=4)
    log(lab, K.MOLT, settle(lab, "Dot", "t2", days_ago=30, carapace_mm=15.0), days_ago=1)
    ahead = lab.service.calendar.ahead(lab.now_ms, ["t1"])
    assert len(ahead.due) == 6
    assert ahead.clusters
    assert ahead.clusters[0].chance > 0.8
    assert len(ahead.days) == 21
    assert sum(one.expected for one in ahead.days) > 6.0 * 0.9
    page = site.get("/calendar").text
    assert "Cleo: the clock stands still while she is berried" in page
    assert page.count("soft until") == 2
    assert f"{cluster_line(lab.service.calendar.ahead(lab.now_ms).clusters[0], Clock('UTC', lab.now_ms))}</p>" in page
    some = site.get("/calendar?tank=t2&tank=nowhere").text
    assert "1 of 2 tanks" in some
    assert "Tag 1" not in some
    assert "Dot" in some
    assert "No cluster" in some


def test_days_are_those_of_the_rooms_calendar() -> None:
    """Over the change to winter time one of them has 25 hours; zoneinfo is the reference."""
    now_ms = stamp("2026-10-24T13:00")
    edges = midnights(now_ms, "Europe/Berlin")
    assert edges[:4] == (now_ms, stamp("2026-10-24T22:00"), stamp("2026-10-25T23:00"), stamp("2026-10-26T23:00"))
    there = ZoneInfo("Europe/Berlin")
    assert {datetime.fromtimestamp(edge / 1000, there).hour for edge in edges[1:]} == {0}
    assert len(edges) == 22


@pytest.mark.parametrize(
    ("start", "end", "low", "words"),
    [
        ("2027-03-03", "2027-03-08", 4, "4 to 6 of 12 between 3 and 7 Mar"),
        ("2027-03-29", "2027-04-03", 4, "4 to 6 of 12 between 29 Mar and 2 Apr"),
        ("2027-03-03", "2027-03-08", 6, "6 of 12 between 3 and 7 Mar"),
    ],
)
def test_a_cluster_in_words(start: str, end: str, low: int, words: str) -> None:
    """Days are named as a person names them: the last one is the last day, not the midnight after it."""
    one = Cluster(stamp(f"{start}T00:00"), stamp(f"{end}T00:00"), low, 6, 12, 5.0, 0.9, ())
    assert cluster_line(one, Clock("UTC", stamp("2027-02-20T09:00"))) == words
