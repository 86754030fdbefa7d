"""What a room file may say of a Modbus probe, and what it is told when it is wrong."""

from __future__ import annotations

from pathlib import Path

import pytest

from api.domain.errors import RoomFileError
from collector.codecs.registers import Register
from collector.config import load_config
from collector.drivers.modbus_keys import register_of

ROOM = """
[room]
name = "r"
zone = "UTC"
[[probe]]
id = "p1"
driver = "modbus"
{probe}
[[probe.value]]
quantity = "temperature"
unit = "Cel"
{value}
[[probe]]
id = "p2"
driver = "modbus"
port = "/dev/ttyX"
device = 2
[[probe.value]]
quantity = "oxygen"
unit = "mg/L"
register = 0
type = "float32"
"""
PORT = 'port = "/dev/ttyX"'
REGISTER = 'register = 40012\ntype = "int16"'


def test_two_devices_of_a_room_file_may_name_the_same_port(tmp_path: Path) -> None:
    """With the defaults that are written in the guide."""
    (tmp_path / "room.toml").write_text(ROOM.format(probe=PORT, value='register = 11\ntype = "int16"'))
    one, two = load_config(tmp_path / "room.toml").probes
    assert one.options == {
        "port": "/dev/ttyX",
        "baud": 19_200,
        "parity": "even",
        "stop_bits": 1.0,
        "host": None,
        "tcp_port": 502,
        "device": 1,
        "count_from": None,
        "timeout_s": 1.0,
        "tries": 2,
    }
    assert register_of(one.probe.values[0], one.options) == Register(11, 3, "int16")
    assert two.options["device"] == 2


@pytest.mark.parametrize(("count_from", "address"), [(0, 40_012), (1, 40_011)])
def test_a_number_that_is_meant_as_it_stands_is_taken(tmp_path: Path, count_from: int, address: int) -> None:
    """Some probes do have registers up there."""
    probe = f'host = "192.0.2.7"\ncount_from = {count_from}'
    (tmp_path / "room.toml").write_text(ROOM.format(probe=probe, value=REGISTER))
    one, _ = load_config(tmp_path / "room.toml").probes
    assert register_of(one.probe.values[0], one.options).address == address


@pytest.mark.parametrize(
    ("probe", "value", "reason"),
    [
        (PORT, REGISTER, r"register = 40012 looks like .* Write register = 11, function = 3\. If it .* count_from = 0"),
        (PORT, 'register = 30001\ntype = "int16"', r"Write register = 0, function = 4\."),
        (PORT, 'register = 400100\ntype = "int16"', r"Write register = 99, function = 3\.$"),
        (f"{PORT}\ncount_from = 0", 'register = 70000\ntype = "int16"', "beyond the last one, 65535"),
        (PORT, 'register = 65535\ntype = "float32"', "beyond the last one, 65535"),
        (f"{PORT}\ncount_from = 1", 'register = 0\ntype = "int16"', "register = 0, but count_from = 1"),
        ("", 'register = 0\ntype = "int16"', "needs one of port and host"),
        (f'{PORT}\nhost = "192.0.2.7"', 'register = 0\ntype = "int16"', "needs one of port and host"),
        ('host = "192.0.2.7"\nbaud = 9600', 'register = 0\ntype = "int16"', "baud has no meaning beside host"),
        (f"{PORT}\ntcp_port = 503", 'register = 0\ntype = "int16"', "tcp_port has no meaning beside port"),
        (f"{PORT}\ndevice = 0", 'register = 0\ntype = "int16"', "device = 0 is outside 1 to 247"),
        (f"{PORT}\nstop_bits = 1.7", 'register = 0\ntype = "int16"', "stop_bits must be 1, 1.5 or 2"),
        (PORT, 'type = "int16"', "key 'register' is missing"),
        (PORT, "register = 0", "key 'type' is missing"),
        (PORT, 'register = 0\ntype = "int17"', "Did you mean 'int1"),
        (PORT, 'register = 0\ntype = "int16"\nfunction = 6', "function = 6 is outside 3 to 4"),
        (PORT, 'register = 0\ntype = "int16"\nnone_value = 32768', "none_value = 32768 is no int16"),
        (PORT, 'register = 0\ntype = "int16"\nscale = 0', "scale = 0 makes every value the same"),
        (PORT, 'register = 0\ntype = "int16"\nfield = 1', "temperature has a field or a key"),
    ],
)
def test_wrong_keys_are_told_and_what_to_write_instead(tmp_path: Path, probe: str, value: str, reason: str) -> None:
    """With the line of the table."""
    (tmp_path / "room.toml").write_text(ROOM.format(probe=probe, value=value))
    with pytest.raises(RoomFileError, match=reason) as caught:
        load_config(tmp_path / "room.toml")
    assert caught.value.line is not None
