"""Fresh parts of an open page as server-sent events: what changed is rendered again and sent.

Must not do: keep the service from stopping; a stream ends by itself at shutdown and after a while.
"""

from __future__ import annotations

import asyncio
import json
import signal
from collections.abc import AsyncIterator, Callable
from contextlib import suppress
from types import FrameType
from typing import Any

from starlette.concurrency import run_in_threadpool

from api.domain.errors import NotFound, Transient

LOOK_S = 2.0
BEAT_S = 15.0
LASTS_S = 600.0
MOST_STREAMS = 24
Parts = tuple[dict[str, str], list[str]]


class Live:
    """The open streams of this process."""

    def __init__(self, look_s: float = LOOK_S) -> None:
        self._look_s = look_s
        self._stopping: asyncio.Event | None = None
        self._open = 0

    def full(self) -> bool:
        """Whether as many streams are open as this small computer should carry."""
        return self._open >= MOST_STREAMS

    def stop(self) -> None:
        """End every stream at its next breath."""
        if self._stopping is not None:
            self._stopping.set()

    async def stream(self, make: Callable[[], Parts], now: Callable[[], str]) -> AsyncIterator[str]:
        """Events for one page. ``make`` renders its parts (in a thread), ``now`` is the time to show."""
        stopping = self._ready()
        sent: dict[str, str] = {}
        order: list[str] = []
        loop = asyncio.get_running_loop()
        end, beat = loop.time() + LASTS_S, loop.time() + BEAT_S
        self._open += 1
        try:
            yield "retry: 3000\n\n"
            while not stopping.is_set() and loop.time() < end:
                with suppress(Transient):
                    parts, wanted = await run_in_threadpool(make)
                    fresh = {key: html for key, html in parts.items() if sent.get(key) != html}
                    if fresh or wanted != order:
                        yield _event("parts", json.dumps({"parts": fresh, "order": wanted, "time": now()}))
                        sent, order, beat = parts, wanted, loop.time() + BEAT_S
                    elif loop.time() >= beat:
                        yield ": beat\n" + _event("beat", now())
                        beat = loop.time() + BEAT_S
                with suppress(TimeoutError):
                    await asyncio.wait_for(stopping.wait(), self._look_s)
        except NotFound:
            return
        finally:
            self._open -= 1

    def _ready(self) -> asyncio.Event:
        if self._stopping is None:
            self._stopping = asyncio.Event()
            _on_stop_signals(asyncio.get_running_loop(), self._stopping)
        return self._stopping


def _event(name: str, data: str) -> str:
    return f"event: {name}\ndata: {data}\n\n"


def _on_stop_signals(loop: asyncio.AbstractEventLoop, stopping: asyncio.Event) -> None:
    """Hear of a shutdown when it begins: the server waits for open streams before it tells the app anything."""
    for number in (signal.SIGINT, signal.SIGTERM):
        before = signal.getsignal(number)

        def heard(got: int, frame: FrameType | None, before: Any = before) -> None:
            if not loop.is_closed():
                loop.call_soon_threadsafe(stopping.set)
            if callable(before):
                before(got, frame)

        if not callable(before):
            continue
        # Only the main thread may listen to signals; elsewhere (tests) streams are ended by stop().
        with suppress(ValueError):
            signal.signal(number, heard)
