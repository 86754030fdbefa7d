"""A real browser on a real server, on a phone and a desk. Must not do: test."""

from __future__ import annotations

import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
import uvicorn

CHROMIUM = "/usr/bin/chromium"
ARGUMENTS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
]  # fmt: skip
OUTPUT = Path(__file__).parents[1] / "output"
SIZES = {"phone": (390, 844), "desk": (1280, 900)}
LEAST_ACTION_PX, LEAST_TARGET_PX = 44, 24
SMALL_TARGETS = """() => [...document.querySelectorAll("a, button, summary, input:not([type=hidden])")]
  .filter((e) => e.checkVisibility() && !e.closest(".skip"))
  .filter((e) => !(e.tagName === "A" && ["P", "SPAN"].includes(e.parentElement.tagName)))
  .map((e) => [e.outerHTML.slice(0, 80), e.getBoundingClientRect().height])"""
IN_BROWSER = [
    pytest.mark.browser,
    pytest.mark.skipif(not Path(CHROMIUM).exists(), reason=f"no browser at {CHROMIUM}"),
]


@contextmanager
def served(app: Any) -> Iterator[str]:
    """An app behind a real server; its address. What streams to pages ends first."""
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        config = uvicorn.Config(app, log_level="warning", timeout_graceful_shutdown=3, lifespan="off")
        server = uvicorn.Server(config)
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]})
        thread.start()
        yield f"http://127.0.0.1:{listener.getsockname()[1]}"
        app.state.live.stop()
        server.should_exit = True
        thread.join(10)


class Watched:
    """A page with what it complained of and whom it asked."""

    def __init__(self, browser: Any, size: str, look: str) -> None:
        width, height = SIZES[size]
        phone = size == "phone"
        self.context = browser.new_context(
            viewport={"width": width, "height": height}, color_scheme=look, has_touch=phone, is_mobile=phone
        )
        self.page = self.context.new_page()
        self.complaints: list[str] = []
        self.hosts: set[str] = set()
        self.page.on("console", lambda said: self.complaints.append(said.text))
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("request", lambda asked: self.hosts.add(asked.url.split("/")[2]))
