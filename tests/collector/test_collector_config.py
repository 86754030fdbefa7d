"""The room file's probes, checked strictly: each mistake names file, line, table and what to write."""

from __future__ import annotations

from pathlib import Path

import pytest

from api.domain.errors import InputError, RoomFileError
from collector.config import load_config

ROOM = """[room]
name = "east"
zone = "UTC"
[room.service]
port = 8123

[[probe]]
id = "p1"
driver = "serial_lines"
port = "/dev/ttyUSB0"
every_s = 5
[[probe.value]]
quantity = "temperature"
unit = "Cel"

[[probe]]
id = "p2"
driver = "csv_rows"
path = "log.csv"
[[probe.value]]
quantity = "oxygen"
unit = "mg/L"
key = "o2"
"""


@pytest.fixture
def room(tmp_path: Path) -> Path:
    """A sound room file."""
    path = tmp_path / "room.toml"
    path.write_text(ROOM)
    return path


def test_defaults_come_from_the_room_file_and_its_place(room: Path) -> None:
    """The service's port, and a data folder beside the file."""
    config = load_config(room)
    assert config.service == "http://127.0.0.1:8123"
    assert config.data == room.parent / "intermolt-data"
    assert [checked.probe.id for checked in config.probes] == ["p1", "p2"]
    assert config.probes[0].options["baud"] == 9600
    assert (config.spool_max_mb, config.pack_size) == (2000.0, 200)


def test_the_command_line_goes_before_the_file(room: Path, tmp_path: Path) -> None:
    """Both folder and address."""
    config = load_config(room, tmp_path / "x", "https://rooms.example.org/")
    assert (config.data, config.service) == (tmp_path / "x", "https://rooms.example.org")


MISTAKES = [
    ('port = "/dev/ttyUSB0"', 'prot = "/dev/ttyUSB0"', 10, "key 'prot' is not known. Did you mean 'port'?"),
    ('path = "log.csv"', 'path = "log.csv"\nfolow = true', 20, "key 'folow' is not known. Did you mean 'follow'?"),
    ("every_s = 5", "evry_s = 5", 11, "key 'evry_s' is not known. Did you mean 'every_s'?"),
    ('"serial_lines"', '"serial_line"', 9, "driver = 'serial_line' is not known. Did you mean 'serial_lines'?"),
    ('port = "/dev/ttyUSB0"\n', "", 7, "key 'port' is missing."),
    ("every_s = 5", "baud = 10", 11, "baud = 10 is outside 50 to 4e+06."),
    ("every_s = 5", 'parity = "evn"', 11, "parity = 'evn' is not known. Did you mean 'even'?"),
    ("every_s = 5", "stop_bits = 1.2", 11, "stop_bits must be 1, 1.5 or 2."),
    ("every_s = 5", "poll = 'R\\r'", 11, "poll holds a backslash."),
    ("every_s = 5", 'line_end = ""', 11, "line_end is empty."),
    ("every_s = 5", "pattern = '(x'", 11, "pattern is no regular expression"),
    ("every_s = 5", "pattern = '(?P<oxygen>.*)'", 11, "pattern has no group named temperature."),
    ('driver = "csv_rows"\npath = "log.csv"', 'driver = "serial_lines"\nport = "/dev/ttyUSB0"', 19, "same port as"),
    ('path = "log.csv"', 'path = "log.csv"\nheader = false', 20, "a column is asked for by name"),
]


@pytest.mark.parametrize(("right", "wrong", "line", "words"), MISTAKES)
def test_a_mistake_names_its_line_and_what_to_write(room: Path, right: str, wrong: str, line: int, words: str) -> None:
    """So that a keeper finds it without asking anybody."""
    assert right in ROOM
    room.write_text(ROOM.replace(right, wrong))
    with pytest.raises(RoomFileError) as caught:
        load_config(room)
    assert f"room.toml, line {line}: [probe" in str(caught.value)
    assert words in str(caught.value)


def test_a_room_file_that_is_not_there_and_an_address_that_is_none(room: Path) -> None:
    """Both are a person's input, not a fault."""
    with pytest.raises(InputError, match="cannot be read: No such file"):
        load_config(room.parent / "nothing.toml")
    with pytest.raises(InputError, match="--service: service = 'here' is no web address"):
        load_config(room, None, "here")
