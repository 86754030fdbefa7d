"""Readings whose time the service's clock has not reached yet: told so, and taken when it has."""

from __future__ import annotations

from pathlib import Path

from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from tests.support.rooms import room

HOUR_MS = 3_600_000


def test_a_service_whose_clock_was_behind_takes_them_once_it_is_right(tmp_path: Path) -> None:
    """Not counted as refused meanwhile; one from before 2000 can never be dated, and is."""
    with room(tmp_path) as lab:
        true_ms = lab.now_ms
        reading = RawReading("p1", Quantity.TEMPERATURE, true_ms, 26.0, "Cel")
        lab.now_ms = true_ms - HOUR_MS
        told = lab.take(reading, RawReading("p1", Quantity.TEMPERATURE, 300_000_000_000, 26.0, "Cel"))
        assert (told.accepted, [one.body().get("later") for one in told.refused]) == (0, [True, None])
        assert told.refused[0].reason.startswith("its time is 3600 s ahead of the service's clock")
        assert lab.service.store.state.counters()["refused"] == 1
        lab.now_ms = true_ms
        told = lab.take(reading)
        assert (told.accepted, told.refused) == (1, ())
