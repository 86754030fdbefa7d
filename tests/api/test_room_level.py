"""The level of a topic that a room's name becomes."""

from __future__ import annotations

import pytest

from api.domain.topics import Topics, room_level


@pytest.mark.parametrize(
    ("name", "level"),
    [
        ("Test room", "test-room"), ("  Zucht / Räume #3+ ", "zucht-raume-3"), ("$SYS/#", "sys"), ("a" * 99, "a" * 64),
    ],
)  # fmt: skip
def test_a_rooms_name_becomes_one_level_without_wildcards(name: str, level: str) -> None:
    """Both ends work it out alone."""
    assert room_level(name) == level


@pytest.mark.parametrize("name", ["+", "#", "/", "", "水族館", "\ud800", "..."])
def test_a_name_without_any_usable_letter_still_gives_a_level_of_its_own(name: str) -> None:
    """Never empty, never a wildcard."""
    level = room_level(name)
    assert level.startswith("room-")
    assert Topics(level).probe_of(f"intermolt/{level}/p1/readings") == "p1"
