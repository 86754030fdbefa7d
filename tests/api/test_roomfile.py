"""``room.toml``: a mistake is told with file, line, table, key and the nearest key there is."""

from __future__ import annotations

from pathlib import Path

import pytest

from api.domain.errors import RoomFileError
from api.domain.roomfile import parse_room

ROOT = Path(__file__).parents[2]
GOOD = """[room]
name = "R"
zone = "UTC"
[[tank]]
id = "t1"
[[tank]]
id = "t2"
volume_l = 20
[[probe]]
id = "p1"
tank = "t1"
driver = "serial_lines"
[[probe.value]]
quantity = "oxygen"
unit = "mg/L"
[[care]]
name = "own"
[care.oxygen]
tolerable_low = 5.0
danger_low = 3.0
"""


@pytest.mark.parametrize(
    ("right", "wrong", "line", "words"),
    [
        ("volume_l = 20", "volum_l = 20", 8, "did you mean 'volume_l'"),
        ("volume_l = 20", 'volume_l = "20"', 8, "should be a number"),
        ("volume_l = 20", "volume_l = -1", 8, "outside"),
        ('tank = "t1"', 'tank = "t9"', 11, "is no tank"),
        ('id = "t2"', 'id = "t1"', 7, "stands twice"),
        ('quantity = "oxygen"', 'quantity = "oxigen"', 14, "did you mean 'oxygen'"),
        ('zone = "UTC"', 'zone = "Utopia"', 3, "not a time zone"),
        ("danger_low = 3.0", "danger_low = 6.0", 18, "danger_low 6 is above tolerable_low 5"),
        ("danger_low = 3.0", "dangr_low = 3.0", 20, "did you mean 'danger_low'"),
        ('id = "p1"', 'id = "../p1"', 10, "not usable"),
        ("[[care]]", "[[cares]]", 16, "did you mean 'care'"),
    ],
)
def test_a_mistake_names_its_line(right: str, wrong: str, line: int, words: str) -> None:
    """One mistake at a time."""
    text = GOOD.replace(right, wrong, 1)
    with pytest.raises(RoomFileError) as caught:
        parse_room(text)
    assert caught.value.line == line
    assert words in str(caught.value).lower() or words in str(caught.value)


def test_not_toml_names_the_place() -> None:
    """The parser's own words carry line and column."""
    with pytest.raises(RoomFileError, match=r"line 1"):
        parse_room("[room\n")


@pytest.mark.parametrize("path", ["deploy/room.example.toml", "collector/simulated/room.toml"])
def test_the_files_we_ship_are_good(path: str) -> None:
    """They load."""
    file = parse_room((ROOT / path).read_text(encoding="utf-8"), path)
    assert file.tanks
    assert file.probes
