"""The second voice: the service is dead, and the collector calls the keeper itself, by the limits it last received."""

from __future__ import annotations

import json
import threading
from dataclasses import replace
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any, ClassVar

import pytest

from api.domain.calibration import Calibration, CalibrationKind
from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from api.domain.tank import Notify, Room
from api.services.danger import danger_limits
from collector.config import load_config
from collector.console import Console
from collector.danger import FILE, DangerWatch, KeptLimits, limits_of
from collector.runner import Runner
from collector.sender import deliver, send
from collector.voice import Outside, SecondVoice
from tests.collector.conftest import Until
from tests.support.http_receiver import Receiver, body, status
from tests.support.rooms import NOW_MS, room
from tests.support.serial_line import SerialLine

Q = Quantity
MINUTE_MS = 60_000
LIMITS = {
    "danger": [
        {
            "probe": "p1", "quantity": "oxygen", "label": "oxygen", "unit": "mg/L", "tank": "North 1", "low": 3.0,
            "high": None, "delay_s": 120.0, "low_check": "Is the airstone bubbling?", "high_check": "Measure again.",
        }
    ]
}  # fmt: skip


class Desk:
    """A second voice with a clock, a phone that may fail, and a service that may be dead."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.now_ms, self.taken, self.waiting = folder, NOW_MS, 0, 1
        self.sent: list[tuple[str, str]] = []
        self.fault, self.doubt, self.boot, self.offset_ms = "", "", "first boot", 0
        self.voice = self.new()

    def new(self) -> SecondVoice:
        """As after a start of the collector."""
        outside = Outside(
            lambda: self.now_ms, lambda: (self.taken, self.waiting), self.boot, lambda: self.date_ms, lambda: self.doubt
        )
        room, notify = Room("Creek room", "UTC"), [Notify("k", "json://keeper/")]
        return SecondVoice(self.folder, room, notify, 900.0, self.send, outside, threading.Event())

    @property
    def date_ms(self) -> int | None:
        """The date, when it is known."""
        return None if self.doubt else self.now_ms + self.offset_ms

    def send(self, url: str, title: str, body: str) -> str:
        """The phone."""
        if not self.fault:
            self.sent.append((title, body))
        return self.fault

    def minute(self, oxygen_mg_l: float | None = None, takes: bool = False) -> None:
        """A minute passes; a probe speaks, the service takes it or not, the voice looks."""
        self.now_ms += MINUTE_MS
        if oxygen_mg_l is not None:
            self.voice.hear([RawReading("p1", Q.OXYGEN, self.now_ms, oxygen_mg_l, "mg/L")])
        self.taken += takes
        self.voice.look(self.taken, self.waiting)

    @property
    def titles(self) -> list[str]:
        """What was delivered."""
        return [title for title, _ in self.sent]


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    """A voice that has its limits."""
    one = Desk(tmp_path)
    one.voice.answered(LIMITS)
    return one


def test_it_keeps_quiet_while_the_service_takes_readings(desk: Desk) -> None:
    """Low oxygen for an hour: that is the service's to tell."""
    for _ in range(60):
        desk.minute(1.0, takes=True)
    assert desk.sent == []


def test_silence_danger_and_return(desk: Desk) -> None:
    """After fifteen minutes: who is away; then the tank by its limit, once an hour; at last the all-clear."""
    for _ in range(14):
        desk.minute(7.0)
    assert desk.sent == []
    desk.minute(7.0)
    assert desk.titles == ["URGENT Creek room: the service takes no readings"]
    # NOW_MS is 2026-09-21 14:13:20 UTC
    assert "for 15 min, since 14:13, nobody has judged the water" in desk.sent[0][1]
    for _ in range(30):
        desk.minute(2.4)
    assert desk.titles[1:] == ["URGENT North 1: oxygen"]
    first = desk.sent[1][1][:160]
    assert all(word in first for word in ("North 1", "2.4 mg/L", "below the danger limit 3 mg/L", "airstone"))
    for _ in range(40):
        desk.minute(2.4)
    assert desk.titles[2:] == ["URGENT North 1: oxygen"]
    desk.minute(7.0)
    assert desk.sent[3][0] == "Creek room: back inside danger limits"
    assert desk.sent[3][1] == "North 1: oxygen is back inside its danger limit."
    desk.minute(7.0, takes=True)
    assert desk.titles[4:] == ["Creek room: the service takes readings again"]
    assert "1 h 27 min" in desk.sent[4][1]
    for _ in range(5):
        desk.minute(7.0, takes=True)
    assert len(desk.sent) == 5


def test_one_odd_reading_is_no_danger(desk: Desk) -> None:
    """It takes two readings in a row and the limit's own delay; another unit is not compared."""
    for _ in range(16):
        desk.minute(7.0)
    desk.minute(0.0)
    for _ in range(5):
        desk.minute(7.0)
        desk.voice.hear([RawReading("p1", Q.OXYGEN, desk.now_ms, 1.0, "umol/L")])
    assert len(desk.sent) == 1


def test_nothing_waits_nothing_is_wrong(desk: Desk) -> None:
    """No probe speaks: the service has nothing to take, and its own watch tells of quiet probes."""
    desk.waiting = 0
    for _ in range(60):
        desk.minute()
    assert desk.sent == []


def test_it_goes_on_after_a_restart(desk: Desk) -> None:
    """The collector's power fails too: limits, what was told and what waits are on the disk."""
    desk.fault = "no network"
    for _ in range(20):
        desk.minute(2.0)
    assert desk.sent == []
    desk.voice = desk.new()
    assert [limit.low for limit in desk.voice.kept.limits] == [3.0]
    desk.fault = ""
    desk.minute(2.0)
    assert desk.titles == ["URGENT Creek room: the service takes no readings", "URGENT North 1: oxygen"]
    desk.minute(2.0)
    desk.minute(7.0, takes=True)
    assert desk.titles[2:] == ["Creek room: the service takes readings again"]


def test_a_phone_that_fails_is_tried_again(desk: Desk) -> None:
    """Nothing is sent twice to one who got it, nothing is forgotten."""
    desk.fault = "busy"
    for _ in range(16):
        desk.minute(7.0)
    desk.fault = ""
    for _ in range(6):
        desk.minute(7.0)
    assert desk.titles == ["URGENT Creek room: the service takes no readings"]


def test_after_a_power_cut_the_same_silence_goes_on(desk: Desk) -> None:
    """Time since boot begins anew; how long the service was away is told by the date, if that is known."""
    for _ in range(20):
        desk.minute(7.0)
    desk.offset_ms, desk.now_ms, desk.boot = desk.now_ms + 100 * MINUTE_MS, 0, "second boot"
    desk.voice = desk.new()
    desk.minute(7.0)
    desk.minute(7.0, takes=True)
    assert desk.titles[1:] == ["Creek room: the service takes readings again"]
    assert "away for 2 h 2 min" in desk.sent[1][1]


def test_an_unset_clock_that_holds_readings_back_is_told(desk: Desk) -> None:
    """The service runs and is well, but gets nothing that it could judge; there is no date to tell either."""
    desk.doubt = "the computer's clock is not set"
    for _ in range(16):
        desk.minute(7.0)
    assert desk.titles == ["URGENT Creek room: readings cannot be passed on"]
    assert "for 15 min nobody has judged" in desk.sent[0][1]
    assert "passed on: the computer's clock is not set." in desk.sent[0][1]


def test_danger_counts_from_when_a_reading_came_whatever_its_own_time_says(desk: Desk) -> None:
    """Stamps of an unset clock are small numbers: no danger lasts for fifty years because of them."""
    for _ in range(16):
        desk.minute(7.0)
    for _ in range(4):
        desk.voice.hear([RawReading("p1", Q.OXYGEN, 5_000, 2.0, "mg/L")])
        desk.minute()
    assert "below the danger limit 3 mg/L for 2 min." in desk.sent[1][1]


def test_a_room_that_fails_as_a_whole_is_one_message(desk: Desk) -> None:
    """Eight tanks at once, two quantities each: one message; three tanks are three."""
    row = LIMITS["danger"][0]
    rows = [
        {**row, "probe": f"p{n}", "tank": f"Tank {n}", "quantity": quantity, "label": quantity}
        for n in range(8)
        for quantity in ("oxygen", "level")
    ]

    def low(probes: range) -> list[str]:
        desk.voice = desk.new()
        desk.voice.answered({"danger": rows})
        del desk.sent[:]
        for _ in range(20):
            for n in probes:
                for quantity in (Q.OXYGEN, Q.LEVEL):
                    desk.voice.hear([RawReading(f"p{n}", quantity, desk.now_ms, 2.0, "mg/L")])
            desk.minute()
        return [title for title in desk.titles if "takes no readings" not in title]

    assert low(range(3)) == [f"URGENT Tank {n}: oxygen, level" for n in range(3)]
    desk.minute(takes=True)
    assert low(range(8)) == ["URGENT Creek room: 8 tanks beyond danger limits"]
    assert desk.sent[-1][1].count("Is the airstone bubbling?") == 1
    assert all(f"Tank {n}: oxygen 2 mg/L" in desk.sent[-1][1] for n in range(8))


def test_what_waits_for_a_dead_phone_is_bounded(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    """The first message, that the service is away, and the newest stay."""
    monkeypatch.setattr("collector.voice.MOST_WAITING", 5)
    desk.fault = "no network"
    for _ in range(16):
        desk.minute(7.0)
    for n in range(60 * 12):
        desk.minute(2.0 if n % 10 < 5 else 7.0)
    assert len(desk.voice.memory.waiting) == 5
    assert desk.voice.memory.waiting[0][1] == "URGENT Creek room: the service takes no readings"


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
