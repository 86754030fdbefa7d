"""CSV files, growing, rotated, cut short, half written: each row once, however often reading starts again."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from api.domain.errors import InputError
from api.domain.quantity import Quantity
from api.domain.tables import Place, take
from api.domain.tank import Probe, Value
from collector.clock import now_ms
from collector.drivers.base import Surroundings
from collector.drivers.csv_file import CHUNK_BYTES
from collector.drivers.csv_rows import CsvRows
from collector.errors import PortTrouble

BY_NAME = (Value(Quantity.TEMPERATURE, "Cel", key="water"), Value(Quantity.OXYGEN, "mg/L", key="o2"))
T0 = 1_900_000_000


class Reader:
    """Reads as a worker does, with a spool that is only a list; ``again`` starts anew from the bookmark."""

    def __init__(self, path: Path, values: tuple[Value, ...] = BY_NAME, **keys: Any) -> None:
        keys = {"path": path.name, "time_column": "at", "time_format": "unix", **keys}
        keys = {name: value for name, value in keys.items() if value is not None}
        self.options = take(keys, CsvRows.KEYS, Place("room.toml", "", "probe"))
        self.probe = Probe("p1", "csv_rows", values=values)
        self.folder = path.parent
        self.bookmarks: dict[str, str] = {}
        self.got: list[float] = []
        self.times: list[int] = []
        self.unreadable = 0
        self.reason = ""
        self.again()

    def again(self) -> None:
        """A new driver, as after a crash."""
        around = Surroundings(now_ms, lambda: 0.0, lambda s: None, self.bookmarks.get, self.folder)
        self.driver = CsvRows(self.probe, self.options, around)
        self.driver.open()

    def read(self, most: int = 50) -> list[float]:
        """Temperatures that came since; two empty reads in a row mean there is nothing more."""
        before, idle = len(self.got), 0
        while idle < 3 and most:
            batch = self.driver.read(0.0)
            most -= 1
            idle = idle + 1 if batch.empty else 0
            self.got += [r.value for r in batch.readings if r.quantity is Quantity.TEMPERATURE]
            self.times += [r.time_ms for r in batch.readings]
            self.unreadable += batch.unreadable
            self.reason = batch.last_unreadable or self.reason
            if batch.bookmark:
                self.bookmarks[batch.bookmark[0]] = batch.bookmark[1]
            if batch.last:
                break
        return self.got[before:]


def rows(*numbers: int) -> str:
    """Rows whose temperature is their number."""
    return "".join(f"{T0 + n},{n}.0,7.5\n" for n in numbers)


HEADER = "at,water,o2\n"


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A file with a header and two rows."""
    file = tmp_path / "log.csv"
    file.write_text(HEADER + rows(1, 2))
    return file


def append(path: Path, text: str) -> None:
    """Another program writes."""
    with path.open("a") as file:
        file.write(text)


def test_a_growing_file_gives_each_row_once(path: Path) -> None:
    """With the row's own time."""
    reader = Reader(path)
    assert reader.read() == [1.0, 2.0]
    append(path, rows(3))
    assert reader.read() == [3.0]
    assert reader.times[0] == (T0 + 1) * 1000
    reader.driver.close()


def test_a_half_written_row_waits_for_its_rest(path: Path) -> None:
    """'3' of '31.0' would be a believable and wrong temperature."""
    reader = Reader(path)
    append(path, f"{T0 + 3},3")
    assert reader.read() == [1.0, 2.0]
    append(path, "1.0,7.5\n")
    assert reader.read() == [31.0]
    assert reader.unreadable == 0
    reader.driver.close()


def test_it_goes_on_from_its_bookmark(path: Path) -> None:
    """Neither losing nor doubling a row."""
    first = Reader(path)
    first.read()
    first.driver.close()
    append(path, rows(3))
    first.again()
    assert first.read() == [3.0]
    first.driver.close()


@pytest.mark.parametrize("restarted", [False, True])
def test_rotation_finishes_the_old_file_before_the_new(path: Path, restarted: bool) -> None:
    """Also when the file was renamed while the collector was down; a row torn by it is counted."""
    reader = Reader(path)
    reader.read()
    if restarted:
        reader.driver.close()
    append(path, rows(3) + f"{T0 + 4},4")
    path.rename(path.with_suffix(".csv.1"))
    path.write_text("o2,at,water\n" + f"7.5,{T0 + 5},5.0\n")
    if restarted:
        reader.again()
    assert reader.read() == [3.0, 5.0]
    assert reader.unreadable == 1
    reader.driver.close()


def test_renamed_and_not_there_yet(path: Path) -> None:
    """The successor may take a while."""
    reader = Reader(path)
    reader.read()
    path.rename(path.with_suffix(".csv.1"))
    assert reader.read() == []
    path.write_text(HEADER + rows(3))
    assert reader.read() == [3.0]
    reader.driver.close()


@pytest.mark.parametrize("restarted", [False, True])
@pytest.mark.parametrize("more", [0, 50])
def test_cut_short_in_place_it_begins_anew(path: Path, more: int, restarted: bool) -> None:
    """Even when it has grown past the old place before anybody looked."""
    reader = Reader(path)
    reader.read()
    if restarted:
        reader.driver.close()
    path.write_text(HEADER + rows(7, *range(100, 100 + more)))
    if restarted:
        reader.again()
    assert reader.read() == [7.0, *(float(n) for n in range(100, 100 + more))]
    reader.driver.close()


def test_unreadable_rows_are_counted_with_a_reason(path: Path) -> None:
    """The rows around them are read."""
    reader = Reader(path)
    append(path, "later,3.0,7.5\n" + f"{T0},ERR,NaN\n" + "\xff\n\n" + rows(4))
    assert reader.read() == [1.0, 2.0, 4.0]
    assert reader.unreadable == 3
    reader.driver.close()


def test_a_row_without_end_is_passed_over_in_bounded_memory(path: Path) -> None:
    """The row after it is read."""
    reader = Reader(path)
    append(path, "x" * (3 * CHUNK_BYTES) + "\n" + rows(3))
    assert reader.read() == [1.0, 2.0, 3.0]
    assert reader.unreadable == 1
    reader.driver.close()


def test_fields_by_number_with_decimal_comma_and_quotes(tmp_path: Path) -> None:
    """As spreadsheets write them, without a header and without times."""
    path = tmp_path / "log.csv"
    path.write_text('"24,31";"tank; left";7,82\r\n')
    values = (Value(Quantity.TEMPERATURE, "Cel", field=1), Value(Quantity.OXYGEN, "mg/L", field=3))
    reader = Reader(path, values, header=False, separator=";", decimal=",", time_column=None, follow=False)
    before_ms = now_ms()
    assert reader.read() == [24.31]
    assert before_ms <= reader.times[0] <= now_ms()
    reader.driver.close()


def test_a_column_that_is_not_there_is_named(tmp_path: Path) -> None:
    """With those that are."""
    path = tmp_path / "log.csv"
    path.write_text("at,wather,o2\n" + rows(1))
    reader = Reader(path)
    with pytest.raises(
        InputError, match=r"log.csv, line 1: there is no column 'water'; the header has: at, wather, o2"
    ):
        reader.read()
    reader.driver.close()


def test_a_file_that_is_not_there_says_so(tmp_path: Path) -> None:
    """And is tried again by the worker."""
    with pytest.raises(PortTrouble, match="there is no such file"):
        Reader(tmp_path / "log.csv")


def test_the_long_layout_names_probe_and_quantity_in_each_row(tmp_path: Path) -> None:
    """Read once to the end, the last row without a line end, columns in any order."""
    path = tmp_path / "long.csv"
    path.write_text(
        "\ufeffunit,time,probe,quantity,value\nCel,2031-05-04T03:10:00Z,p7,temperature,24.31\n"
        "mg/L,1935630600,p8,oxygen,7.8\nmg/L,1935630600,p8,oxigen,7.8\nCel,1935630660,p7,temperature,24.30"
    )
    reader = Reader(path, (), layout="long", follow=False, time_column=None)
    assert reader.read() == [24.31, 24.30]
    assert reader.times == [1935630600000, 1935630600000, 1935630660000]
    assert reader.unreadable == 1
    assert "'oxigen' is no quantity" in reader.reason
    reader.driver.close()
