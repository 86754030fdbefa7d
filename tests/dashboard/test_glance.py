"""One look at the room serves everybody who looks at the same moment."""

from __future__ import annotations

import threading
import time
from dataclasses import replace

from dashboard.visit import FRESH_MS, Glance
from tests.dashboard.fake_service import FakeService


def test_what_many_ask_for_at_once_is_made_once() -> None:
    """Ten threads, one making; other units are made for themselves."""
    glance = Glance(FakeService())
    room = glance.room()
    made: list[str] = []

    def make() -> str:
        time.sleep(0.02)
        made.append("x")
        return "x"

    threads = [threading.Thread(target=lambda: glance.shared(room, "celsius", make)) for _ in range(10)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert made == ["x"]
    glance.shared(room, "fahrenheit", make)
    assert made == ["x", "x"]


def test_nothing_made_of_an_old_room_is_handed_out() -> None:
    """After two seconds, or when something was changed, all is made again; a clock set back does not freeze it."""
    service = FakeService()
    glance = Glance(service)
    old = glance.room()
    assert glance.shared(old, "key", lambda: 1) == 1
    service.clock_ms += FRESH_MS
    for forget in (False, True):
        if forget:
            glance.forget()
        service.read.now = replace(old, time_ms=service.clock_ms)
        fresh = glance.room()
        assert fresh is service.read.now
        assert glance.shared(fresh, "key", lambda: 2) == 2
        assert glance.shared(old, "key", lambda: 3) == 3
    service.clock_ms -= 3_600_000
    service.read.now = old
    assert glance.room() is old
