"""The rehearsal as a command: its files, its one JSON object a line, other delays, rubbish rows, quiet hours."""

from __future__ import annotations

import json
import subprocess
import sys
from argparse import Namespace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from api.domain.errors import InputError
from api.rehearsal.command import plan_of, rehearse, run
from api.rehearsal.rehearsed import reached_ms
from api.services.recorded import read_recorded
from tests.api.test_rehearsal import night
from tests.support.rooms import ROOM

KEYS = ["time", "tank", "kind", "priority", "event", "value", "limit", "text"]
PERSON = """
[[person]]
name = "Aki"
channels = ["json://127.0.0.1:9/"]
hours = "07:00-21:00"
"""


def written(folder: Path, text: str = "") -> Path:
    """A night as a CSV file, with a text in front of its end."""
    path = folder / "night.csv"
    rows = [
        f"{one.probe},{one.quantity},{one.time_ms / 1000},{one.value},{one.unit}\n"
        for pack in night(600)
        for one in pack
    ]
    path.write_text(f"probe,quantity,time,value,unit\n{''.join(rows[:50])}{text}{''.join(rows[50:])}", encoding="utf-8")
    return path


def asked(folder: Path, **more: object) -> Namespace:
    """What the command is given."""
    return Namespace(
        **({"files": [str(written(folder))], "out": str(folder / "a.jsonl"), "delays": "", "answer": None} | more)
    )


@pytest.fixture
def room(tmp_path: Path) -> Path:
    """A room file."""
    path = tmp_path / "room.toml"
    path.write_text(ROOM + PERSON, encoding="utf-8")
    return path


def test_as_a_keeper_runs_it(room: Path, tmp_path: Path) -> None:
    """Every alert on a line, other delays compared, and the folder holds nothing but the file asked for."""
    out = tmp_path / "alerts.jsonl"
    rows = 'p1,oxygen,yesterday,7,mg/L\np1,colour,2026-01-01T00:00:00Z,7,mg/L\np1,oxygen,2026-01-01T00:00:00,"7",mg/L\n'
    before = {*tmp_path.iterdir(), written(tmp_path, rows)}
    command = [sys.executable, "-m", "api.cli", "rehearse", str(written(tmp_path, rows)), "--room", str(room)]
    done = subprocess.run([*command, "--out", str(out), "--delays", "30"], capture_output=True, text=True, check=False)
    assert done.returncode == 1, done.stderr
    assert {*tmp_path.iterdir()} == before | {out}
    lines = [json.loads(line) for line in out.read_text().splitlines()]
    assert [list(line) for line in lines] == [KEYS] * len(lines)
    assert {line["event"] for line in lines} == {"raised", "escalated", "cleared"}
    assert {line["kind"] for line in lines} == {"low_oxygen", "quiet_probe"}
    assert "line 52: not taken" in done.stdout
    assert "names no zone" in done.stdout
    assert "with a 30-minute delay: " in done.stdout
    assert "as the room file says: 2 alerts" in done.stdout
    again = subprocess.run([*command, "--out", str(out)], capture_output=True, text=True, check=False)
    assert again.returncode == 2
    assert "is there already" in again.stderr


def test_quiet_hours_hold_up_what_is_not_urgent(room: Path, tmp_path: Path) -> None:
    """What is told in the night reaches the phone at seven; what is urgent at once. The room's zone is UTC."""
    plan = plan_of(room)
    told = run(plan, read_recorded([written(tmp_path)]).recorded, "")
    for one in told:
        local = datetime.fromtimestamp(one.told_ms / 1000, UTC)
        reached = datetime.fromtimestamp(reached_ms(one, plan) / 1000, UTC)
        if one.priority == "urgent" or 7 <= local.hour < 21:
            assert reached == local
        else:
            assert (reached.hour, reached.minute) == (7, 0)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "must name the columns"),
        ("time;value\n", "must name the columns"),
        ("probe,quantity,time,value,unit\n", "no reading in"),
        ("probe,quantity,time,value,unit\np9,oxygen,1790000000,7,mg/L\n", "no probe of"),
        ("\0\1\2", "must name the columns"),
    ],
)
def test_files_that_are_none(room: Path, tmp_path: Path, text: str, words: str) -> None:
    """Said with file and line; nothing is written."""
    path = tmp_path / "odd.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=words):
        rehearse(room, asked(tmp_path, files=[str(path)]))
    assert not (tmp_path / "a.jsonl").exists()


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("p1,oxygen,1790000000000,7,mg/L", "milliseconds are not taken"),
        ("p1,oxygen,inf,7,mg/L", "not between 2000 and 2200"),
        ("p\0,oxygen,1790000000,7,mg/L", "probe"),
        ("p1,oxygen", "too few"),
        ('p1,temperature,1790000000,"20,5",Cel', "20,5"),
    ],
)
def test_a_row_that_cannot_be_used_loses_nothing_else(tmp_path: Path, row: str, words: str) -> None:
    """The rows around it are taken; alone it is said why there is no reading."""
    path = tmp_path / "one.csv"
    head, good = "probe,quantity,time,value,unit\n", "p1,oxygen,1790000000,7,mg/L\n"
    path.write_text(f"{head}{good}{row}\np1,oxygen,1790000060,7,mg/L\n", encoding="utf-8")
    found = read_recorded([path])
    assert (found.count, found.refusals) == (2, 1)
    assert words in found.refused[0][2]
    path.write_text(f"{head}{row}\n", encoding="utf-8")
    with pytest.raises(InputError, match="line 2: "):
        read_recorded([path])


def test_a_column_named_twice_is_told(tmp_path: Path) -> None:
    """Not the last one taken in silence."""
    path = tmp_path / "one.csv"
    path.write_text("probe,probe,quantity,time,value,unit\nA,B,oxygen,1790000000,7,mg/L\n", encoding="utf-8")
    with pytest.raises(InputError, match="named twice"):
        read_recorded([path])


def test_what_cannot_be_asked(room: Path, tmp_path: Path) -> None:
    """A photo, a folder, delays that are none, a room that is not there."""
    (tmp_path / "photo.csv").write_bytes(b"\xff\xd8\xff\xe0\x00\x10JFIF" * 20)
    for more, words in (
        ({"files": [str(tmp_path / "photo.csv")]}, "no CSV in UTF-8"),
        ({"files": [str(tmp_path)]}, "cannot be read"),
        ({"delays": "soon"}, "give minutes"),
        ({"delays": "-1"}, "between 0 and 1440"),
    ):
        with pytest.raises(InputError, match=words):
            rehearse(room, asked(tmp_path, **more))
    with pytest.raises(InputError, match="there is no"):
        rehearse(tmp_path / "nowhere.toml", asked(tmp_path))
    with pytest.raises(InputError, match="there is no folder"):
        rehearse(room, asked(tmp_path, out=str(tmp_path / "gone" / "a.jsonl")))
    with pytest.raises(InputError, match=r"^there is no file .*gone\.csv$"):
        rehearse(room, asked(tmp_path, files=[str(tmp_path / "gone.csv")]))


def test_what_a_logger_leaves_open_is_asked(room: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With the line to type; answered, it is rehearsed. Probes that say nothing in it are left out, and named."""
    path = tmp_path / "logger.csv"
    lines = [f"2026-03-01 {at // 60:02d}:{at % 60:02d},{20 + 0.05 * at:.2f}" for at in range(0, 600, 5)]
    path.write_text("Time,Temp\n" + "\n".join(lines) + "\n", encoding="utf-8")
    assert rehearse(room, asked(tmp_path, files=[str(path)])) == 1
    said = capsys.readouterr().out
    assert "--answer zone=" in said
    assert "--answer unit:Temp=Cel" in said
    assert not (tmp_path / "a.jsonl").exists()
    answers = ["zone=UTC", "unit:Temp=Cel", "probe=p1"]
    assert rehearse(room, asked(tmp_path, files=[str(path)], answer=answers)) == 0
    told = [json.loads(line) for line in (tmp_path / "a.jsonl").read_text(encoding="utf-8").splitlines()]
    assert {one["kind"] for one in told if one["tank"]} >= {"heat"}
    assert not any("quiet" in one["kind"] for one in told)
    assert "without a reading here, left out: p2" in capsys.readouterr().out
