"""What a room file may say of an SDI-12 sensor, and what it is told when it is wrong."""

from __future__ import annotations

from pathlib import Path

import pytest

from api.domain.errors import RoomFileError
from collector.config import load_config

ROOM = """
[room]
name = "r"
zone = "UTC"
[[probe]]
id = "p1"
driver = "sdi12"
port = "/dev/ttyX"
{probe}
[[probe.value]]
quantity = "temperature"
unit = "Cel"
{value}
[[probe]]
id = "p2"
driver = "sdi12"
port = "/dev/ttyX"
address = "1"
[[probe.value]]
quantity = "temperature"
unit = "Cel"
none_value = -9999
"""


def test_two_probes_of_a_room_file_may_name_the_same_port(tmp_path: Path) -> None:
    """With the defaults that are written in the guide."""
    (tmp_path / "room.toml").write_text(ROOM.format(probe="", value="field = 2"))
    one, two = load_config(tmp_path / "room.toml").probes
    assert one.options == {
        "port": "/dev/ttyX",
        "address": "0",
        "command": "M",
        "crc": False,
        "baud": 1200,
        "bits": 7,
        "parity": "even",
        "stop_bits": 1.0,
        "break": True,
        "timeout_s": 1.0,
        "tries": 3,
        "max_wait_s": 60.0,
    }
    assert (two.options["address"], two.probe.values[0].options) == ("1", {"none_value": -9999.0})


@pytest.mark.parametrize(
    ("probe", "value", "reason"),
    [
        ('address = "12"', "", r"address = '12' is none.*one digit or letter"),
        ("address = 0", "", "address = 0 should be text in quotes"),
        ('command = "X"', "", "command = 'X' is not known"),
        ("stop_bits = 1.7", "", "stop_bits must be 1, 1.5 or 2"),
        ("", "field = 10", "is value 10, M gives at most 9"),
        ("", 'key = "T"', "temperature has a key"),
        ("", "register = 1", "key 'register' is not known"),
    ],
)
def test_wrong_keys_are_told_with_their_line(tmp_path: Path, probe: str, value: str, reason: str) -> None:
    """And with what to write instead."""
    (tmp_path / "room.toml").write_text(ROOM.format(probe=probe, value=value))
    with pytest.raises(RoomFileError, match=reason):
        load_config(tmp_path / "room.toml")
