"""The second voice on real parts: the limits a service hands out, a real receiver, the whole collector."""

from __future__ import annotations

import json
import threading
from dataclasses import replace
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any, ClassVar

import pytest

from api.domain.calibration import Calibration, CalibrationKind
from api.domain.reading import RawReading
from api.services.danger import danger_limits
from collector.config import load_config
from collector.console import Console
from collector.danger import FILE, DangerWatch, KeptLimits, limits_of
from collector.runner import Runner
from collector.sender import deliver, send
from tests.collector.conftest import Until
from tests.support.http_receiver import Receiver, body, status
from tests.support.rooms import room
from tests.support.serial_line import SerialLine
from tests.support.voice_desk import LIMITS, Q


@pytest.mark.parametrize(
    "body", [None, 3, [], {}, {"danger": 1}, {"danger": [1, {}, {"probe": "p"}, {"probe": "p", "low": "x"}]}]
)
def test_answers_without_limits(tmp_path: Path, body: Any) -> None:
    """An older service, rubbish: what was known stays; a damaged file is no limits."""
    kept = KeptLimits(tmp_path)
    kept.take(LIMITS)
    if limits_of(body) is None:
        kept.take(body)
        assert len(KeptLimits(tmp_path).limits) == 1
    else:
        assert limits_of(body) == ()
    (tmp_path / FILE).write_text("{", encoding="utf-8")
    assert KeptLimits(tmp_path).limits == ()
    watch = DangerWatch()
    watch.hear([RawReading("p1", Q.OXYGEN, 0, 1.0, "mg/L")], {}, 0)
    assert watch.beyond == {}


def test_the_limits_a_service_hands_out(tmp_path: Path) -> None:
    """In the probe's own unit, calibration undone: 34 °C is 93.2 °F, a probe 2 mg/L too high gets 5."""
    with room(tmp_path) as lab:
        lab.minute(7.0)
        lab.take(RawReading("p2", Q.TEMPERATURE, lab.now_ms, 77.0, "[degF]"))
        given = Calibration("p1", Q.OXYGEN, CalibrationKind.OFFSET, 0, 9.0, 7.0, person="Aki")
        lab.service.calibrations.enter(given, lab.now_ms).result(10)
        rows = danger_limits(lab.service.store, lab.service.plan(), lab.now_ms)
        told = {(row["probe"], row["quantity"]): (row["low"], row["high"]) for row in rows}
        assert told["p2", "temperature"][1] == pytest.approx(93.2)
        assert told["p1", "oxygen"] == (pytest.approx(5.0), None)
        # USGS table: 8.26 mg/L at 25 C and 760 mmHg, so 3 mg/L is 36.3 %
        assert told["p2", "oxygen_saturation"][0] == pytest.approx(36.3, abs=0.05)
        assert limits_of(json.loads(json.dumps({"danger": rows}))) is not None


class Phone(BaseHTTPRequestHandler):
    """A receiver of messages."""

    got: ClassVar[list[bytes]] = []

    def do_POST(self) -> None:
        """Take one."""
        self.got.append(self.rfile.read(int(self.headers["Content-Length"])))
        self.send_response(200)
        self.end_headers()

    def log_message(self, format: str, *args: Any) -> None:
        """Quiet."""


def test_a_real_receiver() -> None:
    """Through the library to a receiver on loopback; an address it cannot use gives its reason."""
    with ThreadingHTTPServer(("127.0.0.1", 0), Phone) as server:
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        try:
            assert send(f"json://127.0.0.1:{server.server_port}/", "a title", "a body") == ""
        finally:
            server.shutdown()
            thread.join(5)
    assert json.loads(Phone.got[0])["title"] == "a title"
    assert "cannot be sent" in send("nothing://", "title", "body")
    assert deliver("nothing://", "title", "body") == send("nothing://", "title", "body")
    reason = send("json://127.0.0.1:9/?secret=1", "title", "body")
    assert reason
    assert "secret" not in reason


def test_the_whole_collector_speaks_when_its_service_is_dead(
    tmp_path: Path, data: Path, until: Until, monkeypatch: pytest.MonkeyPatch
) -> None:
    """From a line to a receiver of messages: the service takes nothing, a tank is in danger, then all is well."""
    monkeypatch.setattr("collector.voice.LOOK_S", 0.05)
    limits = json.dumps({"danger": [{**LIMITS["danger"][0], "delay_s": 0.0}]}).encode()
    Phone.got.clear()
    with (
        Receiver() as service,
        SerialLine(tmp_path / "p1") as line,
        ThreadingHTTPServer(("127.0.0.1", 0), Phone) as phone,
    ):
        thread = threading.Thread(target=phone.serve_forever)
        thread.start()
        text = '[room]\nname = "east"\nzone = "UTC"\n[[notify]]\nname = "k"\n'
        text += f'url = "json://127.0.0.1:{phone.server_port}/"\n[[probe]]\nid = "p1"\ndriver = "serial_lines"\n'
        text += f'port = "{line.link}"\n[[probe.value]]\nquantity = "oxygen"\nunit = "mg/L"\n'
        (tmp_path / "room.toml").write_text(text)
        config = replace(load_config(tmp_path / "room.toml", data, service.url), second_voice_after_s=0.5)
        service.always = body(limits)
        runner = Runner(config, console=Console(lambda: 0.0, lambda text: None))
        runner.start()
        try:
            until(lambda: runner.voice.kept.limits)
            service.always = status(503)
            for _ in range(3):
                line.say("2.4\n")
            until(lambda: len(Phone.got) == 2)
            service.always = None
            until(lambda: len(Phone.got) == 3)
        finally:
            runner.stop()
            phone.shutdown()
            thread.join(5)
    assert [json.loads(letter)["title"] for letter in Phone.got] == [
        "URGENT east: the service takes no readings",
        "URGENT North 1: oxygen",
        "east: the service takes readings again",
    ]
