"""The real stream record of tests/published as raw readings, and a room whose one "tank" is that stream.

Source and columns: tests/published/french_creek.md. Must not do: repair a value.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

from api.domain.quantity import Quantity
from api.domain.reading import RawReading

FOLDER = Path(__file__).parents[1] / "published"
MOUNTAIN_DAYLIGHT = timezone(timedelta(hours=-6))
PRESSURE_KPA = 69.73
"""523 mmHg at the station, as the record's own scripts have it. [kPa]"""
ROOM = f"""
[room]
name = "Stream"
zone = "America/Denver"
altitude_m = 3000
pressure_kpa = {PRESSURE_KPA}
[[care]]
name = "stream"
[care.oxygen]
danger_low = 2.0
[[tank]]
id = "creek"
care = "stream"
""" + "".join(
    f"""
[[probe]]
id = "{probe}"
tank = "creek"
driver = "csv_rows"
path = "{probe}.csv"
every_s = 300
value = [{{ quantity = "temperature", unit = "Cel" }}, {{ quantity = "oxygen", unit = "mg/L" }}]
"""
    for probe in ("REZN", "TOWN")
)


def readings(name: str) -> Iterator[RawReading]:
    """A file's readings in its own order; missing values are left out, as a logger's NA says nothing."""
    with (FOLDER / name).open(newline="", encoding="utf-8") as file:
        for row in csv.DictReader(file):
            local = datetime.strptime(f"{row['date']} {row['time']}", "%m/%d/%Y %H:%M:%S")  # noqa: DTZ007 - next line
            time_ms = round(local.replace(tzinfo=MOUNTAIN_DAYLIGHT).astimezone(UTC).timestamp() * 1000)
            for column, quantity, unit in (("temp", Quantity.TEMPERATURE, "Cel"), ("oxy", Quantity.OXYGEN, "mg/L")):
                if row[column] != "NA":
                    yield RawReading(row["sonde"], quantity, time_ms, float(row[column]), unit)
