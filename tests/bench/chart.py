"""A year of one-minute readings of one tank: server time for the chart's data beside reading every raw row.

    python -m tests.bench.chart [--days 365]

Both sides read the same file through the same store in the same process and run in turn; the figures are medians of
five. Goal: the chart's data at least 20 times faster.
"""

from __future__ import annotations

import argparse
import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from api.domain.quantity import Quantity
from api.domain.reading import CheckedReading, Flag
from api.domain.tank import Probe, Room, ServiceSettings, Tank, Value
from api.services.plan import RoomPlan
from api.services.series import SeriesMaker
from api.storage.sqlite import SqliteStore
from tests.bench.rooms import START_S

ROUNDS = 5


def fill(store: SqliteStore, minutes: int) -> None:
    """Invented readings, a minute apart."""
    for first in range(0, minutes, 20_000):
        some = [_reading(minute) for minute in range(first, min(minutes, first + 20_000))]
        store.write(lambda some=some: store.readings.append(some)).result()  # type: ignore[misc]


def _reading(minute: int) -> CheckedReading:
    value = 26.0 + (minute % 1440) / 1440
    return CheckedReading("p", Quantity.TEMPERATURE, (START_S + minute * 60) * 1000, value, "Cel", value, Flag.GOOD)


def median_s(work: Callable[[], int]) -> tuple[float, int]:
    """Median time and the number of points of the last round."""
    times, count = [], 0
    for _ in range(ROUNDS):
        start_s = time.perf_counter()
        count = work()
        times.append(time.perf_counter() - start_s)
    return statistics.median(times), count


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--days", type=int, default=365)
    minutes = parser.parse_args().days * 1440
    probe = Probe("p", "serial_lines", "t", 60.0, (Value(Quantity.TEMPERATURE, "Cel"),))
    tanks = {"t": Tank("t", "t")}
    plan = RoomPlan(Room("Bench", "UTC"), tanks, {"p": probe}, {}, (), ServiceSettings())
    start_ms, end_ms = START_S * 1000, (START_S + minutes * 60) * 1000
    with tempfile.TemporaryDirectory() as folder:
        store = SqliteStore(Path(folder) / "chart.db")
        fill(store, minutes)
        maker = SeriesMaker(store, lambda: plan)

        def chart() -> int:
            return len(maker.series("t", Quantity.TEMPERATURE, start_ms, end_ms).lines[0].points)

        def raw() -> int:
            return len(store.readings.recent("p", Quantity.TEMPERATURE, start_ms, end_ms))

        chart_s, points = median_s(chart)
        raw_s, rows = median_s(raw)
        store.close()
    print(f"every raw row     {raw_s * 1000:>8.1f} ms  {rows:>7,} rows")
    print(f"the chart's data  {chart_s * 1000:>8.1f} ms  {points:>7,} points   {raw_s / chart_s:.0f} times faster")


if __name__ == "__main__":
    main()
