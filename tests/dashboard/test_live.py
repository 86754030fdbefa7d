"""Live refresh: what changed is sent, what did not is not, and a stopping service is not held up."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator

import pytest

from api.domain.errors import NotFound, Transient
from dashboard import live
from dashboard.live import MOST_STREAMS, Live, Parts


async def first(stream: AsyncIterator[str], number: int) -> list[str]:
    """The first events of a stream."""
    found = []
    async for event in stream:
        found.append(event)
        if len(found) == number:
            break
    return found


def test_only_what_changed_is_sent_again() -> None:
    """All parts at first, then the changed one."""
    rounds = iter([({"a": "1", "b": "1"}, ["x"]), ({"a": "1", "b": "2"}, ["x"])])

    async def run() -> list[str]:
        return await first(Live(look_s=0.01).stream(lambda: next(rounds), lambda: "03:10"), 3)

    retry, everything, changed = asyncio.run(run())
    assert retry == "retry: 3000\n\n"
    assert json.loads(everything.split("data: ")[1]) == {"parts": {"a": "1", "b": "1"}, "order": ["x"], "time": "03:10"}
    assert json.loads(changed.split("data: ")[1])["parts"] == {"b": "2"}


def test_an_unchanged_page_gets_a_heartbeat(monkeypatch: pytest.MonkeyPatch) -> None:
    """A comment for proxies and a beat for the page, so that it knows it is not standing still."""
    monkeypatch.setattr(live, "BEAT_S", 0.05)

    async def run() -> list[str]:
        return await first(Live(look_s=0.01).stream(lambda: ({"a": "1"}, []), lambda: "03:10"), 3)

    assert asyncio.run(run())[2] == ": beat\nevent: beat\ndata: 03:10\n\n"


def test_a_failing_store_sends_no_heartbeat_so_the_page_says_it_stands_still(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing but the greeting comes while the room cannot be read."""
    monkeypatch.setattr(live, "BEAT_S", 0.01)

    def busy() -> Parts:
        raise Transient("busy")

    async def run() -> list[str]:
        mine = Live(look_s=0.01)
        stream = mine.stream(busy, lambda: "")
        asyncio.get_running_loop().call_later(0.1, mine.stop)
        return [event async for event in stream]

    assert asyncio.run(run()) == ["retry: 3000\n\n"]


def test_streams_end_at_shutdown_and_for_tanks_that_are_gone() -> None:
    """``stop`` ends an open stream at once; so does a tank taken out of the room."""

    def gone() -> Parts:
        raise NotFound("there is no tank")

    async def run() -> float:
        mine = Live(look_s=60)
        loop = asyncio.get_running_loop()
        start = loop.time()
        loop.call_later(0.05, mine.stop)
        assert len([event async for event in mine.stream(lambda: ({"a": "1"}, []), lambda: "")]) == 2
        assert len([event async for event in Live().stream(gone, lambda: "")]) == 1
        return loop.time() - start

    assert asyncio.run(run()) < 5


def test_the_number_of_streams_is_bounded_and_freed_again() -> None:
    """Open streams are counted, closed ones no longer."""

    async def run() -> tuple[bool, bool]:
        mine = Live(look_s=60)
        streams = [mine.stream(lambda: ({}, ["x"]), lambda: "") for _ in range(MOST_STREAMS)]
        for stream in streams:
            await anext(stream)
        full = mine.full()
        for stream in streams:
            await stream.aclose()  # type: ignore[attr-defined]
        return full, mine.full()

    assert asyncio.run(run()) == (True, False)
