"""What is kept does not depend on how it came: packs, order, restarts and calibrations entered meanwhile.

A random series goes to one room in pieces, late, twice, over restarts; and to a fresh one in order, in one pack. In the
end values, flags, reasons, summaries and what is derived are the same.
"""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import chain
from pathlib import Path
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from api.domain.calibration import Calibration, CalibrationKind
from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from tests.support.rooms import NOW_MS, TestRoom, room

Q = Quantity
SECOND_MS = 1000
ROOM = """
[room]
name = "Test room"
zone = "UTC"
altitude_m = 300
[[tank]]
id = "t1"
[[probe]]
id = "a"
tank = "t1"
driver = "none"
every_s = 60
[[probe.value]]
quantity = "temperature"
unit = "Cel"
checks = { gap_s = 150, flat_suspect_s = 240, flat_fail_s = 480, flat_still_s = 1200, attenuated_window_s = 900 }
[[probe.value]]
quantity = "oxygen"
unit = "mg/L"
checks = { gap_s = 100, flat_suspect_s = 240, flat_fail_s = 480, flat_still_s = 1200, attenuated_window_s = 900 }
[[probe]]
id = "b"
tank = "t1"
driver = "none"
every_s = 60
value = [{ quantity = "temperature", unit = "Cel" }]
[[probe]]
id = "c"
tank = "t1"
driver = "none"
every_s = 20
[[probe.value]]
quantity = "oxygen_saturation"
unit = "%"
checks = { gap_s = 100, flat_suspect_s = 200, flat_fail_s = 300, flat_tolerance = 0.2 }
[[probe]]
id = "air"
driver = "none"
every_s = 300
value = [{ quantity = "pressure", unit = "hPa" }]
"""


@dataclass(frozen=True)
class Nature:
    """How a channel speaks: its unit, usual value, scatter, one odd value, one impossible one, seconds in between."""

    probe: str
    quantity: Quantity
    unit: str
    usual: float
    scatter: float
    odd: float
    impossible: float
    every_s: int


CHANNELS = (
    Nature("a", Q.TEMPERATURE, "Cel", 25.0, 0.03, 27.5, -127.0, 60),
    Nature("a", Q.OXYGEN, "mg/L", 7.0, 0.05, 3.0, 90.0, 60),
    Nature("b", Q.TEMPERATURE, "Cel", 25.1, 0.03, 23.0, 61.0, 60),
    Nature("c", Q.OXYGEN_SATURATION, "%", 90.0, 0.5, 210.0, 700.0, 20),
    Nature("air", Q.PRESSURE, "hPa", 975.0, 0.2, 1013.0, 0.0, 300),
)
KINDS = ("restless", "restless", "stuck", "odd", "impossible", "gap", "ramp", "unit", "silent")


def series(nature: Nature, kinds: Sequence[str], chance: Random) -> list[RawReading]:
    """A channel's readings, piece by piece."""
    out: list[RawReading] = []
    time_ms, base = NOW_MS - 8 * 3_600_000 + chance.choice((0, 0, 7)) * SECOND_MS, nature.usual

    def say(value: float, unit: str = nature.unit) -> None:
        nonlocal time_ms
        out.append(RawReading(nature.probe, nature.quantity, time_ms, round(value, 4), unit))
        time_ms += nature.every_s * SECOND_MS + chance.choice((0, 0, 0, 250, -250))

    for kind in kinds:
        length = chance.choice((1, 2, 5, 20, 70))
        if kind == "gap":
            time_ms += chance.choice((90, 200, 2000, 7000)) * SECOND_MS
        elif kind in ("odd", "impossible"):
            for _ in range(chance.choice((1, 1, 2, 4))):
                say(nature.odd if kind == "odd" else nature.impossible)
        elif kind == "unit":
            say(base, chance.choice(("furlong", "[degF]", "Pa")))
        elif kind == "ramp":
            for _ in range(length):
                base += nature.scatter * 4
                say(base)
        elif kind == "stuck":
            for _ in range(length):
                say(base)
        else:
            for _ in range(length):
                say(base + nature.scatter * chance.uniform(-1, 1))
    return [one for one in out if one.time_ms <= NOW_MS]


CALIBRATIONS = (
    ("a", Q.TEMPERATURE, CalibrationKind.OFFSET, (25.0, 25.4), ()),
    ("a", Q.OXYGEN, CalibrationKind.AIR_SATURATION, (7.6, 8.1), ()),
    ("a", Q.OXYGEN, CalibrationKind.ZERO_POINT, (0.1, 0.0), ()),
    ("b", Q.TEMPERATURE, CalibrationKind.OFFSET_AND_SLOPE, (20.0, 20.3), (30.0, 30.8)),
    ("c", Q.OXYGEN_SATURATION, CalibrationKind.OFFSET, (98.0, 100.0), ()),
    ("air", Q.PRESSURE, CalibrationKind.OFFSET, (97.5, 97.2), ()),
)


def calibration(number: int, from_ms: int) -> Calibration:
    """One of the above, from a time on."""
    probe, quantity, kind, (said, expected), second = CALIBRATIONS[number]
    said_2, expected_2 = second or (None, None)
    return Calibration(probe, quantity, kind, from_ms, said, expected, said_2, expected_2, person="Aki")


Step = list[RawReading] | str | tuple[int, int]


@dataclass(frozen=True)
class Case:
    """What a room lives through: each channel's pieces, how many seconds readings come late, how large packs are, what
    happens in between; ``chance`` decides the rest."""

    kinds: tuple[tuple[str, ...], ...]
    disorder_s: int
    size: int
    events: tuple[str, ...]
    chance: int

    def whole(self) -> list[RawReading]:
        """Every reading, in the order of time."""
        chance = Random(self.chance)
        found = [series(nature, kinds, chance) for nature, kinds in zip(CHANNELS, self.kinds, strict=True)]
        return sorted(chain.from_iterable(found), key=lambda one: one.time_ms)

    def steps(self) -> list[Step]:
        """Packs mostly in order: some channels come late as a whole, some readings by themselves, some packs twice."""
        chance, whole = Random(self.chance + 1), self.whole()
        lags_s = {
            (one.probe, one.quantity): chance.choice((0, 0, 0, 1, 100, 4000)) if self.disorder_s else 0
            for one in CHANNELS
        }

        def arrival(one: RawReading) -> float:
            alone_s = chance.uniform(0, self.disorder_s) if chance.random() < 0.1 else 0
            return one.time_ms + (lags_s[one.probe, one.quantity] + alone_s) * SECOND_MS

        arriving = sorted(whole, key=arrival)
        steps: list[Step] = []
        while arriving:
            count = chance.randint(1, 2 * self.size)
            steps.append(arriving[:count])
            arriving = arriving[count:]
        for event in self.events:
            place = chance.randint(0, len(steps))
            if event == "twice":
                packs = [step for step in steps[:place] if isinstance(step, list)]
                steps.insert(place, packs[-1] if packs else "look")
            elif event == "calibrate":
                when_ms = chance.choice(whole).time_ms if whole else NOW_MS
                steps.insert(place, (chance.randrange(len(CALIBRATIONS)), when_ms + chance.choice((0, 1, -3_600_000))))
            else:
                steps.insert(place, event)
        return steps


EVENTS = ("restart", "look", "twice", "calibrate", "withdraw")
CASES = st.builds(
    Case,
    st.tuples(*[st.lists(st.sampled_from(KINDS), max_size=6).map(tuple) for _ in CHANNELS]),
    st.sampled_from((0, 0, 30, 300, 5000)),
    st.sampled_from((1, 3, 20, 200)),
    st.lists(st.sampled_from(EVENTS), max_size=6).map(tuple),
    st.integers(0, 2**32),
)


def settle(lab: TestRoom) -> None:
    """Time passes until nothing waits."""
    for _ in range(6):
        lab.now_ms += 31_000
        lab.service.again.look()
    assert lab.service.store.revisions.waiting() == []


def live(lab: TestRoom, case: Case) -> list[Calibration]:
    """As it came; the calibrations in force at the end."""
    in_force: list[tuple[int, Calibration]] = []
    for step in case.steps():
        if step == "restart":
            lab.restart()
        elif step == "look":
            lab.now_ms += 4_000
            lab.service.again.look()
        elif step == "withdraw":
            if in_force:
                number, _ = in_force.pop(0)
                lab.service.calibrations.withdraw(number, "Aki", lab.now_ms).result()
        elif isinstance(step, tuple):
            one = calibration(*step)
            in_force.append((lab.service.calibrations.enter(one, lab.now_ms).result(), one))
        elif isinstance(step, list):
            lab.take(*step)
    return [one for _, one in in_force]


def in_order(lab: TestRoom, whole: list[RawReading], calibrations: list[Calibration]) -> None:
    """In one go, calibrated from the start."""
    for one in calibrations:
        lab.service.calibrations.enter(one, lab.now_ms).result()
    settle(lab)
    lab.take(*whole)


def kept(lab: TestRoom) -> dict[str, list[tuple[object, ...]]]:
    """All that is kept, but for how it came."""
    store = lab.service.store
    out: dict[str, list[tuple[object, ...]]] = {}
    for channel in store.readings.channels():
        name = f"{channel.probe}/{channel.quantity}"
        rows = store.revisions.rows(channel.probe, channel.quantity, 0, 2**62)
        out[name] = [
            ((row.time_ms - NOW_MS) / 1000, row.raw_value, row.raw_unit, row.value, row.flag.name, row.reason)
            for row in rows
        ]
        last = channel.last_ms, channel.value, channel.flag, channel.reason, channel.raw, channel.unit
        out[f"{name} newest"] = [last]
        for step_s in (300, 3600):
            out[f"{name} every {step_s} s"] = [
                (one.start_ms, one.count, pytest.approx(one.mean), one.low, one.high, one.flagged)
                for one in store.readings.summaries(channel.probe, channel.quantity, 0, 2**62, step_s, step_s * 1000)
            ]
    return out


def opened(folder: Path) -> Path:
    """A folder with the room's file."""
    folder.mkdir()
    return folder


@settings(deadline=None, max_examples=25)
@given(CASES)
def test_how_it_came_does_not_matter(case: Case) -> None:
    """Compared channel by channel."""
    with tempfile.TemporaryDirectory() as folder:
        with room(opened(Path(folder) / "live"), ROOM) as lab, room(opened(Path(folder) / "fresh"), ROOM) as fresh:
            calibrations = live(lab, case)
            settle(lab)
            in_order(fresh, case.whole(), calibrations)
            settle(fresh)
            found, wanted = kept(lab), kept(fresh)
            assert found.keys() == wanted.keys()
            for name, rows in wanted.items():
                assert found[name] == rows, name
