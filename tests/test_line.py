"""The whole line on production parts: pseudo-terminal probe, spool, HTTP, SQLite, alert, SMTP and HTTP messages."""

from __future__ import annotations

import json
import threading
import time
import urllib.request
from collections.abc import Callable
from pathlib import Path

from tests.bench.rooms import free_port
from tests.support.http_receiver import Receiver, body
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
[[notify]]
name = "webhook"
url = "{hook}"
"""


def _until(true: Callable[[], bool], within_s: float) -> bool:
    end_s = time.monotonic() + within_s
    while not true() and time.monotonic() < end_s:
        time.sleep(0.1)
    return true()


def _get(port: int, path: str) -> object:
    with urllib.request.urlopen(f"http://127.0.0.1:{port}{path}", timeout=5) as answer:
        return json.load(answer)


def _tell_the_last_forty_minutes(port: int, token: str) -> None:
    """Oxygen falling from 7.9 to 5.3 mg/L, a reading a minute, as another sender would post it.

    None of them is just as old as what counts as late, so that it is always the same ones that come in time.
    """
    now_s = time.time()
    records = [
        {"n": "n7/oxygen", "u": "mg/L", "v": 7.9 - 0.065 * n, "t": round(now_s) - 60 * (41 - n) + 30} for n in range(40)
    ]
    headers = {"Authorization": f"Bearer {token}", "Content-Type": "application/senml+json"}
    url = f"http://127.0.0.1:{port}/api/v1/readings"
    request = urllib.request.Request(url, json.dumps(records).encode(), headers)
    with urllib.request.urlopen(request, timeout=5) as answer:  # noqa: S310 - our own loopback address
        assert json.load(answer)["accepted"] == 40


def test_a_falling_oxygen_reaches_the_keeper(tmp_path: Path) -> None:
    """A probe's lines become messages that name tank, value, limit, trend and first thing to check; then all-clear."""
    port, stop, water = free_port(), threading.Event(), [5.2]
    with SmtpReceiver() as mail, Receiver() as hook, SerialLine(tmp_path / "line") as line:
        hook.always = body(b"{}")
        room = tmp_path / "room.toml"
        hook_url = hook.url.replace("http://", "json://")
        room.write_text(ROOM.format(port=port, line=line.link, url=mail.url, hook=hook_url), encoding="utf-8")

        def speak() -> None:
            while not stop.wait(0.25):
                line.say(f"26.40,{water[0]:.2f}\r\n")

        speaker = threading.Thread(target=speak)
        with Processes(room, tmp_path / "data", port) as processes:
            processes.start("service")
            _tell_the_last_forty_minutes(port, (tmp_path / "data" / "collector.token").read_text().strip())
            # told before oxygen is out of its tolerable band: in 40 minutes it would be at the danger limit;
            # waited for, so that what the probe says next is not in the same message
            assert _until(lambda: len(mail.messages) >= 1 and len(hook.requests) >= 1, 20)
            processes.start("collector")
            speaker.start()
            try:
                assert _until(lambda: '"value": 5.2' in json.dumps(_get(port, "/api/v1/tanks")), 15)
                water[0] = 7.8
                assert _until(lambda: len(mail.messages) >= 2 and len(hook.requests) >= 2, 20)
            finally:
                stop.set()
                speaker.join()
    subject, text = mail.messages[0]
    assert subject == "URGENT Nursery 7: low oxygen"
    start = " ".join(text.split())[:160]
    for words in (
        "Nursery 7: oxygen 5.4 mg/L. Falling 3.",
        " mg/L per hour, 3",
        " min to 3.0 mg/L (80 %: ",
        "Likely air lost",
        "airstone bubbling",
    ):
        assert words in start
    assert mail.messages[1][0] == "Nursery 7: low oxygen is over"
