"""A file without anything odd is read at once, with what row by row gives; anything odd is left to the other reader."""

from __future__ import annotations

from pathlib import Path

import pytest

from api.services.recorded import Recorded, _columns, _file, read_recorded
from api.services.recorded_parts import joined, parts_of, quick_parts

HEAD = "probe,quantity,time,value,unit\n"
ROWS = """p1,oxygen,2027-03-01T00:00:00Z,7.25,mg/L
p1,temperature,2027-03-01T00:00:00Z,25.1,Cel
p1,oxygen,2027-03-01T01:01:00.123456+01:00,7.3,mg/L
p1,oxygen,2027-02-28T23:59:00+00:00,1e1,mg/L
p1,oxygen,2027-03-01T00:00:00.000Z,9.9,mg/L
p2,temperature,2027-03-01T00:00:00Z,77.18,[degF]
p1,temperature,2027-03-01T00:05:00Z,78.8,[degF]
p1,temperature,2027-03-01T00:01:00Z,-0.5,Cel
"""


def both(path: Path) -> tuple[object, object]:
    """The same file read at once, and row by row."""
    columns, derived = _columns(path.read_text(encoding="utf-8").split("\n")[0].split(","), path)
    out = Recorded()
    slow = joined(parts_of(_file(path, out), 0))
    quick = quick_parts(path, columns, derived, 0)
    assert quick is not None
    assert not out.refusals
    return [said(one) for one in joined(quick)], [said(one) for one in slow]


def said(one: object) -> tuple[object, ...]:
    """A recording as plain values."""
    from api.services.recording import Recording

    assert isinstance(one, Recording)
    units = [one.unit(at) for at in range(len(one.times_ms))]
    order = one.places.argsort().argsort().tolist()
    return one.probe, one.quantity, one.times_ms.tolist(), one.raws.tolist(), units, order


def test_at_once_and_row_by_row_are_the_same(tmp_path: Path) -> None:
    """Offsets, fractions, order of time, doubled times (the first is kept), two units of one probe."""
    path = tmp_path / "a.csv"
    path.write_text(HEAD + ROWS, encoding="utf-8")
    quick, slow = both(path)
    assert sorted(map(str, quick)) == sorted(map(str, slow))  # type: ignore[call-overload]
    assert "7.25, 7.3" in str(quick)
    assert "9.9" not in str(quick)


def test_what_was_exported_leaves_out_what_was_derived(tmp_path: Path) -> None:
    """By its column."""
    path = tmp_path / "b.csv"
    path.write_text(
        "time,probe,quantity,raw,raw_unit,derived\n"
        "2027-03-01T00:00:00Z,p1,oxygen,7,mg/L,false\n2027-03-01T00:00:00Z,p1,oxygen_saturation,7,mg/L,true\n",
        encoding="utf-8",
    )
    quick, slow = both(path)
    assert quick == slow
    assert read_recorded([path]).count == 1


@pytest.mark.parametrize(
    "row",
    [
        "p1,oxygen,2027-03-01T00:00:00,7,mg/L", "p1,oxygen,2027-02-30T00:00:00Z,7,mg/L", "p1,oxygen,x,7,mg/L",
        "p1,colour,2027-03-01T00:00:00Z,7,mg/L", "p 1,oxygen,2027-03-01T00:00:00Z,7,mg/L", "p1,oxygen",
        "p1,oxygen,2027-03-01T00:00:00Z,nan,mg/L", "p1,oxygen,2027-03-01T00:00:00Z,seven,mg/L", "",
        "p1,oxygen,2027-03-01T00:00:00Z,7,", "p1,oxygen,2027-03-01T00:00:00Z,7,mg/L,8,9",
        " p1,oxygen,1790000000,7,mg/L",
    ],
)  # fmt: skip
def test_anything_odd_is_left_to_the_other_reader(tmp_path: Path, row: str) -> None:
    """Which tells it with its line, or reads it after all."""
    path = tmp_path / "c.csv"
    path.write_text(f"{HEAD}{row}\n{ROWS}", encoding="utf-8")
    assert quick_parts(path, (0, 1, 2, 3, 4), None, 0) is None
    found = read_recorded([path])
    assert found.count + found.refusals in (7, 8)


def test_two_files_become_one_recording(tmp_path: Path) -> None:
    """In the order of time; the first file's word stands."""
    one, two = tmp_path / "one.csv", tmp_path / "two.csv"
    one.write_text(f"{HEAD}p1,oxygen,2027-03-01T00:01:00Z,1,mg/L\n", encoding="utf-8")
    two.write_text(
        f"{HEAD}p1,oxygen,2027-03-01T00:00:00Z,2,mg/L\np1,oxygen,2027-03-01T00:01:00Z,3,mg/L\n", encoding="utf-8"
    )
    found = read_recorded([one, two]).recorded
    assert [one.raws.tolist() for one in found] == [[2.0, 1.0]]
