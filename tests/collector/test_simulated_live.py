"""The invented room as it runs: no seam with its past, words the real driver reads, and starts that go on."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import serial

from api.domain.errors import InputError
from api.domain.quantity import Quantity
from api.domain.roomfile import parse_room
from api.domain.tank import Value
from collector.config import load_config
from collector.drivers.layout import field_layout
from collector.simulated import live
from collector.simulated.demo import demo_of, live_past, texts_of
from collector.simulated.dialect import WORDINGS
from collector.simulated.live import Live
from collector.simulated.ports import Port
from collector.simulated.room_air import HOUR_MS
from collector.simulated.saved import read, write
from tests.collector.conftest import Until
from tests.collector.test_simulated_room import START_MS, TEMPLATE, begun, past_of, room_with


def test_history_and_live_have_no_seam() -> None:
    """The last record is the first start itself, and five seconds of live water later every probe reads the same."""
    demo = room_with(0.05)
    past = past_of(demo, START_MS)
    assert past.minutes[-1] == 0.0
    assert past.end.state.time_ms == past.end.wall_ms == START_MS
    running = Live(demo, past.end)
    running.move(START_MS + 5_000)
    state, before = running.saved.state, past.end.state
    assert state.time_ms == START_MS + 4_000
    assert np.abs(state.probe_c - before.probe_c).max() < 0.03
    assert np.abs(state.probe_mg_l - before.probe_mg_l).max() < 0.03


def test_a_late_call_passes_through_the_same_moments() -> None:
    """Ten minutes at once or in 300 turns end in the same water."""
    demo = room_with(0.05)
    at_once, in_turns = Live(demo, begun()), Live(demo, begun())
    at_once.move(START_MS + 600_000)
    for turn in range(1, 301):
        in_turns.move(START_MS + turn * 2_000)
    assert np.allclose(at_once.saved.state.oxygen_mg_l, in_turns.saved.state.oxygen_mg_l, rtol=0, atol=1e-9)
    assert at_once.texts == in_turns.texts


def test_a_room_that_stood_for_a_month_goes_on(tmp_path: Path) -> None:
    """What was saved is read back whole, and a start a month later is calm and quick."""
    demo = room_with(0.05)
    write(tmp_path / "state.json", begun())
    saved = read(tmp_path / "state.json", demo.names, demo.scene(START_MS).tanks)
    assert saved is not None
    assert saved.first_start_ms == START_MS
    assert len(saved.opening) == 3
    running = Live(demo, saved)
    running.move(START_MS + 30 * 24 * HOUR_MS)
    assert running.saved.state.time_ms == START_MS + 30 * 24 * HOUR_MS
    assert running.saved.first_start_ms == START_MS
    assert np.median(running.saved.state.oxygen_mg_l) > 6.5


def test_a_spoilt_state_is_told_and_kept(tmp_path: Path) -> None:
    """The message names the file and what to do; the file stays."""
    path = tmp_path / "state.json"
    path.write_text('{"version": 1, "tanks": [')
    demo = room_with(0.05)
    with pytest.raises(InputError, match=r"state\.json: .*Delete the file"):
        read(path, demo.names, demo.scene(START_MS).tanks)
    assert path.read_text() == '{"version": 1, "tanks": ['


def test_faster_water() -> None:
    """At speed 60 a minute is an hour, and the saved wall time says when."""
    demo = room_with(0.05, speed=60.0)
    running = Live(demo, begun())
    running.move(START_MS + 60_000)
    assert running.saved.state.time_ms == START_MS + HOUR_MS
    assert running.saved.wall_ms == START_MS + 60_000


def test_every_probe_of_the_template_is_decoded_to_what_it_meant() -> None:
    """The real driver's layout reads each simulated line back to the texts that were said."""
    config, demo = load_config(TEMPLATE), room_with(0.05)
    assert len(config.probes) == len(demo.dialects) == 12
    end = begun()
    running = Live(demo, end)
    running.move(START_MS)
    for checked, dialect, texts in zip(config.probes, demo.dialects, running.texts, strict=True):
        assert texts is not None
        assert checked.probe.id == dialect.probe
        line = dialect.line(texts).decode()
        assert line.endswith(checked.options["line_end"])
        said = field_layout(checked.probe, checked.options).decode(line.removesuffix(checked.options["line_end"]))
        assert said.problems == ()
        wanted = tuple((v.quantity, v.unit, float(t)) for v, t in zip(dialect.values, texts, strict=True))
        assert said.values == wanted
        assert {quantity for quantity, _, _ in said.values} & {Quantity.OXYGEN, Quantity.OXYGEN_SATURATION}


@pytest.mark.parametrize(("unit", "said"), [("Cel", "25.00"), ("[degF]", "77.0"), ("K", "298.15")])
def test_units_of_temperature(unit: str, said: str) -> None:
    """25 degC is 77 F and 298.15 K by definition."""
    assert WORDINGS[Quantity.TEMPERATURE, unit](25.0, 8.0, 8.0) == said


def test_a_quiet_probe_says_nothing() -> None:
    """Its place in the texts is empty while it is quiet, and only its."""
    demo = room_with(0.05)
    end = begun()
    running = Live(demo, end)
    told = []
    for minute in (3, 5, 43, 45):
        running.move(START_MS + minute * 60_000)
        told.append([d.tank for d, texts in zip(demo.dialects, running.texts, strict=True) if texts is None])
    assert told == [[], ["C1"], ["C1"], []]


class Keeping(Port):
    """A port that keeps what is written to it."""

    def __init__(self, path: Path) -> None:
        super().__init__(path)
        self.lines: list[bytes] = []

    def write(self, line: bytes) -> bool:
        """Keep the line."""
        self.lines.append(line)
        return True


def test_a_clock_that_is_set_back_silences_nobody(tmp_path: Path) -> None:
    """Probes keep speaking at their interval, as probes without a clock do."""
    demo = room_with(0.05)
    saved = begun()
    ports = [Keeping(tmp_path / dialect.probe) for dialect in demo.dialects]
    # Every call is 2 s later, but for the jump back by an hour after a minute.
    times = iter([START_MS + n * 2_000 - (HOUR_MS if n > 30 else 0) for n in range(100)])
    turns = iter(range(60))
    try:
        live.run(
            Live(demo, saved),
            ports,
            tmp_path / "state.json",
            lambda: next(turns, None) is None,
            lambda: next(times),
            lambda _: None,
        )
    finally:
        for port in ports:
            port.close()
    speaking = [len(port.lines) for port, dialect in zip(ports, demo.dialects, strict=True) if not dialect.poll]
    assert speaking
    assert all(11 <= count <= 14 for count in speaking)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("[room.simulated]", "[room.collector]\n[room.x]", None),
        ("simulated/ports/", "elsewhere/", "no probe has a simulated port"),
        ("baud = 9600", 'baud = 9600\npattern = "x"', "cannot do 'pattern'"),
    ],
)
def test_a_room_that_cannot_be_simulated_is_told(old: str, new: str, message: str | None) -> None:
    """What is wrong and what to do, as InputError."""
    text = TEMPLATE.read_text(encoding="utf-8").replace(old, new)
    with pytest.raises(InputError, match=message):
        demo_of(parse_room(text, "room.toml"), "room.toml")


def test_a_value_the_room_does_not_have_is_told() -> None:
    """The probe, the quantity and what there is."""
    demo = room_with(0.05)
    probe = replace(demo.room_file.probes[0], values=(Value(Quantity.TEMPERATURE, "[degR]"),))
    file = replace(demo.room_file, probes=(probe,))
    with pytest.raises(InputError, match=r"probe-a1.*temperature in '\[degR\]'.*temperature in Cel"):
        demo_of(file, "room.toml")


def test_texts_of_nothing_are_nothing() -> None:
    """A record without moments, as at the start of a past shorter than the faults' lead."""
    demo = room_with(0.05)
    record = next(iter(live_past(demo, START_MS)))[0].since(START_MS + 1)
    assert list(texts_of(demo, demo.scene(START_MS), record)) == []


def test_a_polled_port_hears_and_answers(tmp_path: Path, until: Until) -> None:
    """Two questions that came in pieces are two; the answer is what pyserial reads; nobody there, nothing kept."""
    port = Port(tmp_path / "probe")
    try:
        assert port.write(b"lost\r") is False
        with serial.Serial(str(tmp_path / "probe"), timeout=2) as reader:
            reader.write(b"R\rR")
            counted = [0]

            def heard(count: int) -> bool:
                counted[0] += port.asked(b"R\r")
                return counted[0] == count

            until(lambda: heard(1))
            reader.write(b"\r")
            until(lambda: heard(2))
            assert port.write(b"24.31,7.82\r")
            assert reader.read_until(b"\r") == b"24.31,7.82\r"
    finally:
        port.close()
    assert not (tmp_path / "probe").is_symlink()


def test_a_second_start_goes_on(tmp_path: Path) -> None:
    """Each SIGTERM ends it with the state saved and the ports gone; the story keeps its first start."""
    state = tmp_path / "simulated" / "state.json"
    write(state, begun())
    command = [sys.executable, "-m", "collector.simulated", "--room", str(TEMPLATE), "--data", str(tmp_path)]
    moments = []
    for _ in range(2):
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as running:
            assert running.stdout is not None
            assert running.stdout.readline() == "ports ready\n"
            running.send_signal(signal.SIGTERM)
            assert running.wait(2) == 0
        body = json.loads(state.read_text())
        assert body["first_start_ms"] == START_MS
        moments.append(body["time_ms"])
        assert list((tmp_path / "simulated" / "ports").iterdir()) == []
    assert START_MS <= moments[0] <= moments[1]


def test_no_room_file_is_told(tmp_path: Path) -> None:
    """Exit code 2 and one line that names the file and the option."""
    command = [sys.executable, "-m", "collector.simulated", "--room", str(tmp_path / "none"), "--data", str(tmp_path)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=30, check=False)
    assert (done.returncode, done.stdout, done.stderr.count("\n")) == (2, "", 1)
    assert str(tmp_path / "none") in done.stderr
    assert "--room" in done.stderr
