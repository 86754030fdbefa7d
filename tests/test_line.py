"""The whole line on production parts: pseudo-terminal probe, spool, HTTP, SQLite, alert, SMTP and HTTP messages."""

from __future__ import annotations

import json
import threading
import time
import urllib.request
from collections.abc import Callable
from pathlib import Path

from tests.bench.rooms import free_port
from tests.support.processes import Processes
from tests.support.serial_line import SerialLine
from tests.support.smtp_receiver import SmtpReceiver

ROOM = """
[room]
name = "Trial room"
zone = "UTC"
[room.service]
port = {port}
[[tank]]
id = "N7"
name = "Nursery 7"
care = "quick"
[[probe]]
id = "n7"
tank = "N7"
driver = "serial_lines"
port = "{line}"
every_s = 1
[[probe.value]]
quantity = "temperature"
unit = "Cel"
[[probe.value]]
quantity = "oxygen"
unit = "mg/L"
[[care]]
name = "quick"
[care.temperature]
target_low = 23.9
target_high = 29.4
[care.oxygen]
target_low = 6.0
tolerable_low = 5.0
danger_low = 3.0
deadband = 0.3
on_delay_s = 2
danger_on_delay_s = 1
off_delay_s = 1
[[notify]]
name = "keeper"
url = "{url}"
"""


def _until(true: Callable[[], bool], within_s: float) -> bool:
    end_s = time.monotonic() + within_s
    while time.monotonic() < end_s:
        if true():
            return True
        time.sleep(0.1)
    return false_at_last(true)


def false_at_last(true: Callable[[], bool]) -> bool:
    """One last look."""
    return true()


def _get(port: int, path: str) -> object:
    with urllib.request.urlopen(f"http://127.0.0.1:{port}{path}", timeout=5) as answer:
        return json.load(answer)


def test_a_falling_oxygen_reaches_the_keeper(tmp_path: Path) -> None:
    """A probe's lines become a message that names tank, value, limit and the first thing to check; then all-clear."""
    port, stop, water = free_port(), threading.Event(), [7.9]
    with SmtpReceiver() as mail, SerialLine(tmp_path / "line") as line:
        room = tmp_path / "room.toml"
        room.write_text(ROOM.format(port=port, line=line.link, url=mail.url), encoding="utf-8")

        def speak() -> None:
            while not stop.wait(0.25):
                line.say(f"26.40,{water[0]:.2f}\r\n")

        speaker = threading.Thread(target=speak)
        with Processes(room, tmp_path / "data", port) as processes:
            processes.start("service")
            processes.start("collector")
            speaker.start()
            try:
                assert _until(lambda: '"value": 7.9' in json.dumps(_get(port, "/api/v1/tanks")), 15)
                assert mail.messages == []
                water[0] = 4.6
                assert _until(lambda: len(mail.messages) >= 1, 20)
                water[0] = 7.8
                assert _until(lambda: len(mail.messages) >= 2, 20)
            finally:
                stop.set()
                speaker.join()
    subject, text = mail.messages[0]
    assert subject == "Nursery 7: low oxygen"
    start = " ".join(text.split())[:160]
    assert "Nursery 7: oxygen 4.6 mg/L, below 5.0 mg/L" in start
    assert "airstone bubbling" in start
    assert mail.messages[1][0] == "Nursery 7: low oxygen is over"
