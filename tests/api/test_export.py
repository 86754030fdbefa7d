"""Readings out: what stands in the files, that the Frictionless library finds them sound, and that nothing is run."""

from __future__ import annotations

import csv
import io
import json
import os
import subprocess
import sys
from collections.abc import Iterator
from datetime import UTC, datetime
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest
from frictionless import Package, system

from api.app import create_api
from api.cli import main
from api.domain.quantity import Quantity
from api.domain.reading import Flag, RawReading
from api.services import export as exporting
from api.services.export import harmless
from tests.dashboard.caller import Caller
from tests.support.rooms import NOW_MS, TestRoom, room
from tests.support.small_disk import SmallDisk, may_mount

MINUTES = 30
parquet: Any = import_module("pyarrow.parquet")


@pytest.fixture
def lab(tmp_path: Path) -> Iterator[TestRoom]:
    """Half an hour of oxygen and temperature, a unit that could be run, a probe nobody claimed."""
    with room(tmp_path) as one:
        for _ in range(MINUTES):
            one.minute(8.0, temperature_c=26.0)
        now_ms = one.now_ms
        one.take(RawReading("p2", Quantity.TEMPERATURE, now_ms, 78.8, "[degF]"))
        one.take(RawReading("p2", Quantity.OXYGEN_SATURATION, now_ms, -1.5, "=cmd|'/c calc'!A0"))
        one.take(RawReading("p9", Quantity.PH, now_ms, 7.5, "pH"))
        yield one


def export(lab: TestRoom, *words: str) -> int:
    """The command, all of time unless told otherwise."""
    span = [] if "--to" in words else ["--to", "2030-01-01"]
    place = ["--room", str(lab.folder / "room.toml"), "--data", str(lab.folder / "data")]
    return main(["export", *words, *span, *place])


def rows_of(text: str) -> list[dict[str, str]]:
    """CSV as the standard library reads it."""
    return list(csv.DictReader(io.StringIO(text, newline="")))


def sound(folder: Path, descriptor: str = "datapackage.json") -> None:
    """The Frictionless library finds nothing to say: descriptor, types, limits, keys, size and hash."""
    with system.use_context(trusted=False):
        report = Package(str(folder / descriptor)).validate()
    assert report.valid, report.flatten(["rowNumber", "fieldName", "type", "note"])
    assert report.stats["tasks"] == 1


def test_everything_as_csv(lab: TestRoom, capsys: pytest.CaptureFixture[str]) -> None:
    """Into a folder, with a sound descriptor that says units, zone, flags, version and care."""
    out = lab.folder / "out"
    assert export(lab, "--out", str(out)) == 0
    sound(out)
    rows = rows_of((out / "readings.csv").read_bytes().decode())
    assert f"{len(rows)} readings of" in capsys.readouterr().out
    assert {row["probe"] for row in rows} == {"p1", "p2", "p9"}
    assert len({(row["probe"], row["quantity"], row["time"]) for row in rows}) == len(rows)
    first = next(row for row in rows if (row["probe"], row["quantity"]) == ("p1", "temperature"))
    moment = datetime.fromtimestamp((NOW_MS + 60_000) / 1000, UTC).strftime("%Y-%m-%dT%H:%M:%S.000Z")
    assert first == {
        "time": moment, "tank": "t1", "probe": "p1", "quantity": "temperature", "raw": "26.0", "raw_unit": "Cel",
        "value": "26.0", "unit": "Cel", "flag": first["flag"], "reason": first["reason"], "derived": "false",
        "arrival": "in time",
    }  # fmt: skip
    warm = next(row for row in rows if (row["probe"], row["quantity"]) == ("p2", "temperature"))
    assert (warm["raw"], warm["raw_unit"], warm["unit"]) == ("78.8", "[degF]", "Cel")
    assert float(warm["value"]) == pytest.approx(26.0)  # (78.8 - 32) / 1.8
    unclaimed = next(row for row in rows if row["probe"] == "p9")
    assert unclaimed["tank"] == ""
    derived = [row for row in rows if (row["probe"], row["quantity"]) == ("p1", "oxygen_saturation")]
    assert len(derived) == MINUTES
    assert {row["derived"] for row in derived} == {"true"}
    body = json.loads((out / "datapackage.json").read_text(encoding="utf-8"))
    assert body["room"]["zone"] == "UTC"
    assert body["quantities"]["oxygen"]["unit"] == "mg/L"
    assert set(body["flags"]) == {str(int(flag)) for flag in Flag}
    assert body["software"]["name"] == "intermolt"
    assert [tank["id"] for tank in body["tanks"]] == ["t1", "t2"]
    (care,) = body["care"]
    assert care["name"] == "warm-water"
    assert {"temperature", "oxygen", "ph", "ammonia"} <= {one["quantity"] for one in care["ranges"]}
    assert body["span"]["start"] == moment


def test_no_cell_is_run(lab: TestRoom) -> None:
    """Texts get an apostrophe; numbers, also negative ones, stay numbers."""
    out = lab.folder / "out.csv"
    assert export(lab, "--out", str(out), "--tank", "t2") == 0
    sound(lab.folder, "out.csv.datapackage.json")
    rows = rows_of(out.read_text(encoding="utf-8"))
    (bad,) = [row for row in rows if row["quantity"] == "oxygen_saturation"]
    assert bad["raw_unit"] == "'=cmd|'/c calc'!A0"
    assert bad["raw"] == "-1.5"
    assert bad["value"] == ""
    assert bad["flag"] == "4"
    for row in rows:
        for name, cell in row.items():
            assert name in ("raw", "value") or not cell.startswith(("=", "+", "-", "@", "\t", "\r")), (name, cell)


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "\n", "＝"])
def test_what_a_spreadsheet_would_run(start: str) -> None:
    """The starts that OWASP's page on CSV injection names."""
    assert harmless(f"{start}1+1") == f"'{start}1+1"
    assert harmless(f"a{start}") == f"a{start}"


def test_the_same_as_parquet(lab: TestRoom) -> None:
    """Row by row what the CSV says; the descriptor is inside too, and sound as a descriptor."""
    assert export(lab, "--out", str(lab.folder / "a.csv")) == 0
    assert export(lab, "--out", str(lab.folder / "a"), "--format", "parquet") == 0
    table = parquet.read_table(lab.folder / "a" / "readings.parquet")
    rows = rows_of((lab.folder / "a.csv").read_text(encoding="utf-8"))
    assert table.column_names == list(rows[0])
    assert str(table.schema.field("time").type) == "timestamp[ms, tz=UTC]"
    for kept, row in zip(table.to_pylist(), rows, strict=True):
        assert kept["time"] == datetime.fromisoformat(row["time"])
        assert (kept["raw"], kept["value"]) == (float(row["raw"]), float(row["value"]) if row["value"] else None)
        assert (kept["flag"], kept["derived"]) == (int(row["flag"]), row["derived"] == "true")
        for name in ("tank", "probe", "quantity", "raw_unit", "unit", "reason", "arrival"):
            assert harmless(kept[name] or "") == row[name]
    body = json.loads((lab.folder / "a" / "datapackage.json").read_text(encoding="utf-8"))
    Package.from_descriptor(body)  # raises where the standard is not met
    assert json.loads(table.schema.metadata[b"datapackage"])["flags"] == body["flags"]


def test_pages_join_without_seam(lab: TestRoom, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever the page's length, the file is the same."""
    assert export(lab, "--out", str(lab.folder / "a.csv")) == 0
    for length in (1, 7, MINUTES):
        monkeypatch.setattr(exporting, "PAGE", length)
        assert export(lab, "--out", str(lab.folder / f"{length}.csv")) == 0
        assert (lab.folder / f"{length}.csv").read_bytes() == (lab.folder / "a.csv").read_bytes()


def test_chosen_tanks_quantities_and_span(lab: TestRoom, capsys: pytest.CaptureFixture[str]) -> None:
    """Start inside, end outside; to standard output."""
    start, end = (datetime.fromtimestamp((NOW_MS + m * 60_000) / 1000, UTC).isoformat() for m in (5, 9))
    capsys.readouterr()
    asked = ("--tank", "t1", "--quantity", "oxygen", "--from", start, "--to", end)
    assert export(lab, *asked, "--out", "-") == 0
    rows = rows_of(capsys.readouterr().out)
    assert [(row["quantity"], row["probe"]) for row in rows] == [("oxygen", "p1")] * 4
    assert datetime.fromisoformat(rows[0]["time"]) == datetime.fromisoformat(start)


def test_an_empty_span_is_said(lab: TestRoom, capsys: pytest.CaptureFixture[str]) -> None:
    """A sound file with its header alone, and a hint."""
    assert export(lab, "--from", "2001-01-01", "--to", "2001-01-02", "--out", str(lab.folder / "e")) == 0
    assert "No reading lies in that span" in capsys.readouterr().out
    sound(lab.folder / "e")
    assert export(lab, "--from", "2001-01-01", "--to", "2001-01-02", "--out", str(lab.folder / "e.parquet")) == 0
    assert parquet.read_table(lab.folder / "e.parquet").num_rows == 0


def test_a_day_is_the_rooms_own(tmp_path: Path) -> None:
    """2026-03-29 in Berlin has 23 hours: from 2026-03-28T23:00Z to 2026-03-29T22:00Z (IANA zone data)."""
    from zoneinfo import ZoneInfo

    from api.domain.errors import InputError
    from api.moments import moment_of

    zone = ZoneInfo("Europe/Berlin")
    ends = [moment_of("2026-03-29", "--to", zone, days) for days in (0, 1)]
    expected = [datetime(2026, 3, 28, 23, tzinfo=UTC), datetime(2026, 3, 29, 22, tzinfo=UTC)]
    assert ends == [round(one.timestamp() * 1000) for one in expected]
    assert moment_of("2026-03-29T12:00", "--to", zone, 1) == moment_of("2026-03-29T12:00+02:00", "--to", zone, 1)
    for text in ("2026-03-29T02:30", "2026-10-25T02:30"):
        with pytest.raises(InputError, match="write the offset too"):
            moment_of(text, "--from", zone, 0)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--tank", "t7", "--out", "x"), "there is no tank 't7'; known: t1, t2"),
        (("--quantity", "salt", "--out", "x"), "'salt' is none of: temperature"),
        (("--from", "noon", "--out", "x"), "neither a day"),
        (("--from", "2031-01-01", "--out", "x"), "start must lie before its end"),
        (("--out", "x.csv", "--format", "parquet"), "do not agree"),
        (("--out", "-", "--format", "parquet"), "not text"),
        (("--out", "there.csv"), "is there already"),
    ],
)
def test_what_cannot_be_used(
    lab: TestRoom,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    words: tuple[str, ...],
    said: str,
) -> None:
    """2, and what to do; nothing is written."""
    monkeypatch.chdir(lab.folder)
    (lab.folder / "there.csv").write_text("mine", encoding="utf-8")
    before = sorted(os.listdir(lab.folder))
    assert export(lab, *words) == 2
    assert said in capsys.readouterr().err
    assert sorted(os.listdir(lab.folder)) == before


@pytest.mark.skipif(not may_mount(), reason="needs root to mount a small disk")
@pytest.mark.parametrize("kind", ["csv", "parquet"])
def test_a_full_disk_leaves_no_half_file(lab: TestRoom, kind: str, capsys: pytest.CaptureFixture[str]) -> None:
    """1, the file and the reason; nothing is left."""
    with SmallDisk(lab.folder / "small", 1) as disk:
        disk.fill()
        assert export(lab, "--out", str(lab.folder / "small" / f"out.{kind}")) == 1
        assert f"out.{kind}" in capsys.readouterr().err
        assert os.listdir(lab.folder / "small") == ["ballast"]


def test_without_the_parquet_library(lab: TestRoom) -> None:
    """CSV needs nothing of it, and Parquet says what to install."""
    code = "import sys; sys.modules['pyarrow'] = None; from api.cli import main; sys.exit(main(sys.argv[1:]))"
    place = ["--room", str(lab.folder / "room.toml"), "--data", str(lab.folder / "data")]
    for kind, status in (("csv", 0), ("parquet", 2)):
        command = [sys.executable, "-c", code, "export", "--out", str(lab.folder / f"o.{kind}"), *place]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        assert done.returncode == status, done.stderr
    assert "pip install" in done.stderr


def test_over_the_web(lab: TestRoom) -> None:
    """The same rows as the command's, described by a link; problems are told as everywhere."""
    with Caller(create_api(lab.service)) as client:
        span = "start=2020-01-01T00:00:00Z&end=2030-01-01T00:00:00Z"
        answer = client.get(f"/api/v1/tanks/t1/export.csv?quantity=oxygen&quantity=temperature&{span}")
        assert answer.status_code == 200
        assert answer.headers["content-type"] == "text/csv; charset=utf-8"
        assert 'filename="t1-readings.csv"' in answer.headers["content-disposition"]
        rows = rows_of(answer.text)
        assert len(rows) == 2 * MINUTES
        described = answer.headers["link"].split(">")[0][1:]
        body = client.get(described).json()
        Package.from_descriptor(body)
        assert [field["name"] for field in body["resources"][0]["schema"]["fields"]] == list(rows[0])
        assert set(body["quantities"]) == {"oxygen", "temperature"}
        assert client.get("/api/v1/tanks/t7/export.csv").status_code == 404
        assert client.get("/api/v1/tanks/t1/export.csv?quantity=salt").status_code == 422
        assert client.get("/api/v1/tanks/t1/export.csv?start=noon").status_code == 422
