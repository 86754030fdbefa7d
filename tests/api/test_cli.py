"""The command line: exit codes, the room written out, and no open door without a password."""

from __future__ import annotations

import io
import socket
from pathlib import Path

import pytest

from api.cli import main
from api.domain.roomfile import parse_room
from tests.support.rooms import room


def test_other_machines_need_a_password(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit code 2, and the words to type."""
    place = ["--room", str(tmp_path / "room.toml"), "--data", str(tmp_path / "data")]
    code = main(["serve", *place, "--host", "0.0.0.0"])  # noqa: S104 - refused, which is what is tried
    assert code == 2
    assert "intermolt user password NAME" in capsys.readouterr().err


def test_a_port_in_use_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Another program's answers must never be taken for the service's."""
    (tmp_path / "room.toml").write_text('[room]\nname = "R"\nzone = "UTC"\n', encoding="utf-8")
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = str(taken.getsockname()[1])
        assert main(["run", "--room", str(tmp_path / "room.toml"), "--data", str(tmp_path / "d"), "--port", port]) == 2
    assert f"port {port}" in capsys.readouterr().err


def test_room_check_names_the_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A typo ends with 2 and one line on stderr; a good file with 0."""
    path = tmp_path / "room.toml"
    path.write_text('[room]\nname = "R"\nzon = "UTC"\n', encoding="utf-8")
    assert main(["room", "check", "--room", str(path)]) == 2
    said = capsys.readouterr().err
    assert "line 3" in said
    assert "Did you mean 'zone'?" in said
    path.write_text('[room]\nname = "R"\nzone = "UTC"\n', encoding="utf-8")
    assert main(["room", "check", "--room", str(path)]) == 0


def test_the_room_written_out_is_the_same_room(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What the records say, as a room file, parses to the tanks, probes and addresses that were put in."""
    with room(tmp_path) as lab:
        before = parse_room((tmp_path / "room.toml").read_text(encoding="utf-8"))
        assert lab.service.plan().room == before.room
    assert main(["room", "write", "--room", str(tmp_path / "room.toml"), "--data", str(tmp_path / "data")]) == 0
    after = parse_room(capsys.readouterr().out)
    assert (after.room, after.tanks, after.notify, after.service) == (
        before.room, before.tanks, before.notify, before.service
    )  # fmt: skip
    assert {probe.id: (probe.tank, probe.values, dict(probe.options)) for probe in after.probes} == {
        probe.id: (probe.tank, probe.values, dict(probe.options)) for probe in before.probes
    }
    assert after.care == before.care


def test_a_keeper_gets_a_password(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """From standard input; too short a one is refused."""
    place = ["--room", str(tmp_path / "room.toml"), "--data", str(tmp_path / "data")]
    monkeypatch.setattr("sys.stdin", io.StringIO("short\n"))
    assert main(["user", "password", "Keeper", *place]) == 2
    monkeypatch.setattr("sys.stdin", io.StringIO("long enough for a room\n"))
    assert main(["user", "password", "Keeper", *place]) == 0
    assert main(["user", "list", *place]) == 0
    assert capsys.readouterr().out.splitlines()[-1] == "Keeper"
    assert main(["user", "remove", "Nobody", *place]) == 2


HIGH = '[room]\nname = "R"\nzone = "UTC"\naltitude_m = 2200\npressure_kpa = {}\n[[tank]]\nid = "t1"\n'
PROBE = """
[[probe]]
id = "p1"
tank = "t1"
driver = "serial_lines"
port = "/dev/null"
[[probe.value]]
quantity = "oxygen"
unit = "mg/L"
calibrate_every_days = 14
checks = { rate_suspect_per_h = 20, %s }
"""


@pytest.mark.parametrize(("pressure_kpa", "warned"), [(101.3, True), (77.5, False)])
def test_room_check_warns_of_a_reduced_pressure(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], pressure_kpa: float, warned: bool
) -> None:
    """Sea-level pressure at 2,200 m: said, with what it would do to oxygen; the room can still be used."""
    path = tmp_path / "room.toml"
    path.write_text(HIGH.format(pressure_kpa), encoding="utf-8")
    assert main(["room", "check", "--room", str(path)]) == 0
    said = capsys.readouterr().out
    assert ("reduced to sea level" in said, "31 % too high" in said) == (warned, warned)


@pytest.mark.parametrize(
    ("limit", "words"),
    [
        ("rate_fail_per_h = 10", "is above rate_fail_per_h"),
        ("spike = 3", "is no limit of a check"),
        ('spike_fail = "3"', "should be a number"),
        ("spike_fail = 3", ""),
    ],
)
def test_limits_of_checks_are_checked(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], limit: str, words: str
) -> None:
    """Limits that contradict each other or do not exist are told before anything runs."""
    path = tmp_path / "room.toml"
    path.write_text(HIGH.format(77.5) + PROBE % limit, encoding="utf-8")
    code = main(["room", "check", "--room", str(path)])
    assert (code, words in capsys.readouterr().err) == (2 if words else 0, True)


def test_a_unit_with_two_meanings_is_told_at_the_start(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Percent is no mg/L: the probe, the quantity and what to write instead, before the first reading."""
    path = tmp_path / "room.toml"
    text = HIGH.format(77.5) + PROBE % "spike_fail = 3"
    path.write_text(text.replace('unit = "mg/L"', 'unit = "%"'), encoding="utf-8")
    assert main(["room", "check", "--room", str(path)]) == 2
    said = capsys.readouterr().err
    assert "probe 'p1', oxygen" in said
    assert "oxygen_saturation" in said
