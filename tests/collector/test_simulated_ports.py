"""The simulated room's ports lie in the data folder, wherever that is, and outlive the end of the room before."""

from __future__ import annotations

import os
import signal
import subprocess
from pathlib import Path

import pytest
import serial

from api.domain.errors import InputError
from collector.config import load_config
from collector.simulated.ports import Port, alone
from tests.collector.test_simulated_process import ROOT, TEMPLATE, command


@pytest.mark.parametrize("data", ["intermolt-data", "elsewhere/kept"])
def test_the_collector_reads_where_the_room_speaks(tmp_path: Path, data: str) -> None:
    """The template names one data folder; another --data moves the ports with it, and both sides agree."""
    (tmp_path / "room.toml").write_bytes(TEMPLATE.read_bytes())
    config = load_config(tmp_path / "room.toml", tmp_path / data)
    read = {str(one.options["port"]) for one in config.probes}
    assert read == {str(tmp_path / data / "simulated" / "ports" / one.probe.id) for one in config.probes}


def test_a_real_port_beside_simulated_ones_stays_as_it_is_written(tmp_path: Path) -> None:
    """One probe is real already."""
    text = TEMPLATE.read_text(encoding="utf-8")
    real = text.replace('"intermolt-data/simulated/ports/probe-a1"', '"/dev/ttyUSB7"')
    assert real != text
    (tmp_path / "room.toml").write_text(real, encoding="utf-8")
    config = load_config(tmp_path / "room.toml", tmp_path / "kept")
    assert config.probes[0].options["port"] == "/dev/ttyUSB7"


def test_a_room_that_ends_leaves_the_next_ones_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The next room opens its port at the moment the old one hangs up, and may be given the same device."""
    path, close, opened = tmp_path / "probe", os.close, []
    old = Port(path)

    def hang_up(descriptor: int) -> None:
        close(descriptor)
        if descriptor == old._master:
            opened.append(Port(path))

    monkeypatch.setattr(os, "close", hang_up)
    old.close()
    monkeypatch.undo()
    (new,) = opened
    try:
        with serial.Serial(str(path), timeout=1) as line:
            assert new.write(b"24.0\n")
            assert line.readline() == b"24.0\n"
    finally:
        new.close()
    assert not path.is_symlink()


def test_two_rooms_never_work_in_one_folder(tmp_path: Path) -> None:
    """The second waits, then says what to do; once the first has ended, it goes on."""
    with alone(tmp_path, lambda: False, lambda _: None):
        with pytest.raises(InputError, match="another simulated room works"):
            with alone(tmp_path, lambda: False, lambda _: None):
                pass
    with alone(tmp_path, lambda: False, lambda _: pytest.fail("there is nobody to wait for")):
        pass


def test_a_room_started_while_the_last_one_ends_has_all_its_ports(tmp_path: Path) -> None:
    """As when ``intermolt run`` is killed and started again at once."""
    text = TEMPLATE.read_text(encoding="utf-8").replace("history_days = 7 ", "history_days = 0.02 ")
    (tmp_path / "room.toml").write_text(text, encoding="utf-8")
    started = []
    try:
        for _ in range(2):
            room = subprocess.Popen(command(tmp_path), stdout=subprocess.PIPE, text=True, cwd=ROOT)
            started.append(room)
            assert room.stdout is not None
            if started == [room]:
                assert room.stdout.readline() == "ports ready\n"
        first, second = started
        first.send_signal(signal.SIGTERM)
        assert second.stdout is not None
        assert second.stdout.readline() == "ports ready\n"
        assert first.wait(5) == 0
        assert len(list((tmp_path / "simulated" / "ports").iterdir())) == 12
    finally:
        for room in started:
            room.kill()
            room.communicate()
