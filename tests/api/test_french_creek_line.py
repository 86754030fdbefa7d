"""A real record through the whole line: import, station pressure, flags, derived values, and night regression on them.

The stream and what is wrong with its record: tests/published/french_creek.md.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from api.domain.quantity import Quantity
from api.domain.reading import Flag, KeptReading, RawReading
from api.service import Service
from tests.published.ours import gsw_mg_l
from tests.support.french_creek import FOLDER, MOUNTAIN_DAYLIGHT, PRESSURE_KPA, ROOM, readings
from tests.support.rooms import NOW_MS, Recording
from tests.trials.french_creek import nights
from tests.trials.french_creek_record import Row, read

Q = Quantity
PACK = 200
Keep = Callable[[str], "Stream"]


class Stream:
    """A service that has taken in one file, as the import sends it."""

    def __init__(self, folder: Path, taken: list[RawReading]) -> None:
        (folder / "room.toml").write_text(ROOM, encoding="utf-8")
        self.clock_ms = NOW_MS
        self.service = Service(folder / "room.toml", folder / "data", Recording(), lambda: self.clock_ms)
        self.accepted = self.duplicate = 0
        for start in range(0, len(taken), PACK):
            outcome = self.service.ingest.accept(taken[start : start + PACK], NOW_MS).result()
            self.accepted, self.duplicate = self.accepted + outcome.accepted, self.duplicate + outcome.duplicate
        for _ in range(3):
            self.clock_ms += 5_000
            self.service.again.look()

    def kept(self, probe: str, quantity: Quantity) -> list[KeptReading]:
        """All of a channel."""
        return self.service.store.revisions.rows(probe, quantity, 0, 2**62)

    def close(self) -> None:
        """Close."""
        self.service.store.close()
        self.service.release()


@pytest.fixture
def keep(tmp_path: Path) -> Iterator[Keep]:
    """Take a file in."""
    made: list[Stream] = []

    def one(name: str) -> Stream:
        made.append(Stream(tmp_path, list(readings(name))))
        return made[-1]

    yield one
    for stream in made:
        stream.close()


def clock(reading: KeptReading) -> str:
    """Local month, day, hour and minute."""
    return f"{datetime.fromtimestamp(reading.time_ms / 1000, UTC).astimezone(MOUNTAIN_DAYLIGHT):%m-%d %H:%M}"


def test_the_takeover(keep: Keep) -> None:
    """Every value once; the disturbed return of the first logger is suspect, the second's first reading unchecked."""
    stream = keep("french_creek_takeover.csv")
    assert (stream.accepted, stream.duplicate) == (1920, 2)  # 09-01 20:00 stands twice
    warm = stream.kept("REZN", Q.TEMPERATURE)
    assert [clock(one) for one in warm if one.flag >= Flag.SUSPECT] == ["08-29 18:30", "08-29 18:35", "08-29 18:40"]
    first = stream.kept("TOWN", Q.OXYGEN)[0]
    assert (clock(first), first.flag) == ("09-01 12:55", Flag.NOT_EVALUATED)
    assert "first reading" in first.reason
    for probe in ("REZN", "TOWN"):
        flags = [one.flag for one in stream.kept(probe, Q.OXYGEN)]
        assert flags.count(Flag.GOOD) > 0.99 * len(flags)


def test_percent_is_at_the_stations_pressure(keep: Keep) -> None:
    """Beside the reference library at 1 atm and the simple pressure factor (P - u)/(1 - u), which is within 0.1 %."""
    stream = keep("french_creek_takeover.csv")
    warm = {one.time_ms: one for one in stream.kept("TOWN", Q.TEMPERATURE) if one.flag is Flag.GOOD}
    oxygen = {one.time_ms: one.value or 0.0 for one in stream.kept("TOWN", Q.OXYGEN)}
    derived = stream.kept("TOWN", Q.OXYGEN_SATURATION)
    assert len(derived) == len(oxygen) == 566
    for one in derived[::40]:
        if one.time_ms in warm:
            t_c = warm[one.time_ms].value or 0.0
            vapour_atm = 10 ** (8.07131 - 1730.63 / (233.426 + t_c)) / 760  # Antoine's equation, from memory
            held_mg_l = float(gsw_mg_l(t_c, 0.0)) * (PRESSURE_KPA / 101.325 - vapour_atm) / (1 - vapour_atm)
            assert one.value == pytest.approx(100 * oxygen[one.time_ms] / held_mg_l, rel=1.5e-3)


def test_nights_on_kept_values_are_those_of_the_file(keep: Keep) -> None:
    """Reaeration and respiration of each night from what the line kept, unflagged, equal those from the file itself."""
    stream = keep("french_creek_takeover.csv")
    rows = []
    for probe in ("REZN", "TOWN"):
        oxygen = {one.time_ms: one for one in stream.kept(probe, Q.OXYGEN) if one.flag < Flag.SUSPECT}
        for one in stream.kept(probe, Q.TEMPERATURE):
            pair = oxygen.get(one.time_ms)
            if pair is not None and one.flag < Flag.SUSPECT:
                local = datetime.fromtimestamp(one.time_ms / 1000, UTC).astimezone(MOUNTAIN_DAYLIGHT)
                rows.append(Row(probe, local.replace(tzinfo=None), one.value or 0.0, pair.value or 0.0))
    wanted = {(one.evening, one.sonde): one.found for one in nights(read(FOLDER / "french_creek_takeover.csv")[0])}
    told = 0
    for night in nights(rows):
        beside = wanted[night.evening, night.sonde]
        if night.found is not None and beside is not None and night.found.told:
            told += 1
            assert night.found.k_per_h.value == pytest.approx(beside.k_per_h.value, rel=1e-9)
            assert night.found.respiration_mg_l_h.value == pytest.approx(beside.respiration_mg_l_h.value, rel=1e-9)
            assert night.found.k_per_h.value > 3 * night.found.k_per_h.se
    assert told == 4


def test_a_ruled_line_is_not_believed(keep: Keep) -> None:
    """Drawn on to -10.75 Cel: below freezing nothing is good, nothing is derived, and the room is told late, once."""
    stream = keep("french_creek_fault.csv")
    warm = stream.kept("TOWN", Q.TEMPERATURE)
    cold = [one for one in warm if (one.value or 0.0) < 0.0]
    assert len(cold) > 100
    assert {one.flag for one in cold} == {Flag.SUSPECT, Flag.FAIL}
    assert all(one.flag is Flag.FAIL for one in cold if (one.value or 0.0) < -5.0)
    percent = {one.time_ms: one for one in stream.kept("TOWN", Q.OXYGEN_SATURATION)}
    # up to the wrongly dated end of the line, where a true reading stands within a quarter of an hour
    deep = [one for one in cold if (one.value or 0.0) < -5.0 and clock(one) < "09-05 19:40"]
    assert deep
    assert all(percent[one.time_ms].value is None for one in deep)
    alerts = stream.service.read.alerts(None)
    # before the line the probe lay dry: 14.2 to 10.1 Cel within an evening's quarter of an hour, 17 and 23 Cel by noon
    assert [(one.kind, one.found_late) for one in alerts] == [("not_known", True)] * 3
    assert all("Likely probe out of the water" in one.text for one in alerts)
