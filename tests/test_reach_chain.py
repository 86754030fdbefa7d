"""The whole chain on real parts: a falling probe on a pseudo-terminal, the two programs, a mail server and a web
receiver, the link opened on a phone-sized browser, and a ladder that stops. The ladder's minutes are seconds here.
"""

from __future__ import annotations

import json
import re
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.bench.rooms import free_port
from tests.support.browser import ARGUMENTS, CHROMIUM, OUTPUT
from tests.support.http_receiver import Exchange, Receiver
from tests.support.processes import Processes
from tests.support.serial_line import SerialLine
from tests.support.smtp_receiver import SmtpReceiver
from tests.test_line import ROOM

PEOPLE = """
[[person]]
name = "Ana"
channels = ["{phone}", "{mail}"]
[[person]]
name = "Ben"
channels = ["{other}"]
"""
LADDER = """
[room.ladder]
urgent_min = [0, 0.05, 0.15, 0.25]
[[tank]]
"""
pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(not Path(CHROMIUM).exists(), reason=f"no browser at {CHROMIUM}"),
]


def _until(true: Callable[[], bool], within_s: float) -> bool:
    end_s = time.monotonic() + within_s
    while not true() and time.monotonic() < end_s:
        time.sleep(0.05)
    return true()


class Phone:
    """A web receiver that remembers its messages."""

    def __init__(self, receiver: Receiver) -> None:
        self.heard: list[dict[str, Any]] = []
        self.url = receiver.url.replace("http://", "json://")
        receiver.always = self._take

    def _take(self, exchange: Exchange) -> bool:
        self.heard.append(json.loads(exchange.body))
        exchange.answer(200, {})
        return True


def _room(folder: Path, port: int, line: SerialLine, phone: Phone, mail: SmtpReceiver, other: Phone) -> Path:
    text = ROOM.split("[[notify]]")[0].format(port=port, line=line.link)
    text = text.replace(f"port = {port}\n", f'port = {port}\naddress = "http://127.0.0.1:{port}"\n')
    text = text.replace("[[tank]]\n", LADDER, 1)
    path = folder / "room.toml"
    path.write_text(text + PEOPLE.format(phone=phone.url, mail=mail.url, other=other.url), encoding="utf-8")
    return path


def _answer(link: str) -> tuple[str, int, list[str]]:
    """Open the link on a phone, press the first button; the page's words then, its width, and its complaints."""
    from playwright.sync_api import sync_playwright

    OUTPUT.mkdir(exist_ok=True)
    complaints: list[str] = []
    with sync_playwright() as tool:
        browser = tool.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        page = browser.new_context(
            viewport={"width": 390, "height": 844}, color_scheme="dark", has_touch=True, is_mobile=True
        ).new_page()
        page.on("console", lambda said: complaints.append(said.text))
        page.goto(link)
        page.screenshot(path=OUTPUT / "link-phone-dark.png", full_page=True)
        buttons = page.locator("form.answer button")
        boxes = [buttons.nth(n).bounding_box() for n in range(3)]
        assert min(box["height"] for box in boxes if box) >= 64
        assert max(box["y"] + box["height"] for box in boxes if box) <= 844, "all three within reach of a thumb"
        buttons.nth(0).tap()
        page.wait_for_selector(".said")
        page.screenshot(path=OUTPUT / "link-answered-phone-dark.png", full_page=True)
        width = page.evaluate("document.documentElement.scrollWidth")
        said = page.locator(".said").inner_text()
        browser.close()
    return said, width, complaints


def test_from_the_probe_to_the_answer(tmp_path: Path) -> None:
    """Oxygen falls; Ana's phone rings, then again with her mail; she taps, and no further rung is told."""
    port, stop, water = free_port(), threading.Event(), [7.5]
    with SmtpReceiver() as mail, Receiver() as one, Receiver() as two, SerialLine(tmp_path / "line") as line:
        phone, other = Phone(one), Phone(two)
        room = _room(tmp_path, port, line, phone, mail, other)

        def speak() -> None:
            while not stop.wait(0.25):
                line.say(f"26.40,{water[0]:.2f}\r\n")

        speaker = threading.Thread(target=speak)
        with Processes(room, tmp_path / "data", port) as processes:
            processes.start("service")
            processes.start("collector")
            speaker.start()
            try:
                assert not _until(lambda: bool(phone.heard), 2)
                water[0] = 2.4
                assert _until(lambda: bool(phone.heard), 20)
                assert _until(lambda: bool(mail.messages), 8)
                link = re.search(r"http://127\.0\.0\.1:\S+", phone.heard[0]["message"])
                assert link is not None
                said, width, complaints = _answer(link.group())
                rang = (len(phone.heard), len(mail.messages), len(other.heard))
                assert not _until(lambda: (len(phone.heard), len(mail.messages), len(other.heard)) != rang, 8)
                water[0] = 7.5
                assert _until(lambda: "is over" in phone.heard[-1]["title"], 20)
                assert _until(lambda: "is over" in mail.messages[-1][0], 5)
            finally:
                stop.set()
                speaker.join()
    assert re.match(r"You answered at \d\d:\d\d: I am going\.", said)
    assert (width, complaints) == (390, [])
    assert phone.heard[0]["title"] == "URGENT Nursery 7: low oxygen"
    assert "Nursery 7: oxygen 2.4 mg/L, below 3.0 mg/L" in phone.heard[0]["message"][:160]
    told_ben = [one["title"] for one in other.heard]
    assert told_ben in ([], ["URGENT Nursery 7: low oxygen", "Nursery 7: low oxygen is over"])
