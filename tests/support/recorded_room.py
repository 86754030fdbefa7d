"""An invented recording of some tanks with everything that can go wrong in it, made by chance from a seed."""

from __future__ import annotations

import random
from collections.abc import Iterator
from math import exp, pi, sin

from api.domain.quantity import Quantity
from api.domain.reading import RawReading

START_MS = 1_788_000_000_000
FAULTS = (
    "air",
    "heater",
    "cold",
    "stuck",
    "lifted",
    "quiet",
    "spikes",
    "rubbish",
    "drift",
    "unit",
    "room_air",
    "noisy",
)
TANK = '[[tank]]\nid = "t{n}"\nvolume_l = {litres}\n'
PROBE = """[[probe]]
id = "p{n}"
tank = "t{n}"
driver = "serial_lines"
port = "/dev/null"
every_s = {every}
value = [{{ quantity = "temperature", unit = "Cel" }}, {{ quantity = "oxygen", unit = "mg/L" }}]
"""


def room_text(tanks: int, every_s: int) -> str:
    """A room file of so many tanks with a probe each."""
    parts = ['[room]\nname = "Recorded"\nzone = "UTC"\n']
    parts += [TANK.format(n=n, litres=20 + 10 * n) for n in range(tanks)]
    parts += [PROBE.format(n=n, every=every_s) for n in range(tanks)]
    return "".join(parts)


def recorded(seed: int, tanks: int, hours: float, every_s: int = 60) -> list[RawReading]:
    """Readings in the order of time."""
    chance = random.Random(seed)
    count = round(hours * 3600 / every_s)
    plans = [_faults(chance, tanks, n, count) for n in range(tanks)]
    water = [_Water(chance) for _ in range(tanks)]
    out: list[RawReading] = []
    for at in range(count):
        time_ms = START_MS + at * every_s * 1000
        for n in range(tanks):
            going = {name for name, start, end in plans[n] if start <= at < end}
            out += water[n].said(f"p{n}", time_ms + n * 100 * (seed % 2), every_s / 3600, going)
    return sorted(out, key=lambda one: one.time_ms)


def _faults(chance: random.Random, tanks: int, n: int, count: int) -> list[tuple[str, int, int]]:
    found = []
    for name in FAULTS:
        start = chance.randrange(count) if name != "room_air" else count // 2
        if name != "room_air" or tanks > 2:
            found.append((name, start, start + chance.randrange(count // 40 + 2, count // 8 + 3)))
    return found


class _Water:
    def __init__(self, chance: random.Random) -> None:
        self._chance, self._lost, self._warm, self._hour = chance, 0.0, 0.0, chance.uniform(0, 24)
        self._held: tuple[float, float] | None = None
        self._drift = 0.0

    def said(self, probe: str, time_ms: int, hours: float, going: set[str]) -> Iterator[RawReading]:
        """One look at the water."""
        chance, self._hour = self._chance, self._hour + hours
        still = going & {"air", "room_air"}
        self._lost += (6.0 - self._lost) * (1 - exp(-0.25 * hours)) if still else -self._lost * (1 - exp(-2.0 * hours))
        aim = 9.0 if "heater" in going else -7.0 if "cold" in going else 0.0
        self._warm += (aim - self._warm) * (1 - exp(-0.15 * hours))
        self._drift = self._drift - 0.2 * hours if "drift" in going else 0.0
        noise = 0.15 if "noisy" in going else 0.02
        warm = 26.0 + 0.4 * sin(self._hour * pi / 12) + self._warm + chance.gauss(0, noise)
        oxygen = max(0.0, 7.3 - 0.3 * sin(self._hour * pi / 12) - self._lost + self._drift + chance.gauss(0, noise))
        if "lifted" in going:
            warm, oxygen = 21.0 + chance.gauss(0, 0.05), 8.6 + chance.gauss(0, 0.02)
        if "spikes" in going and chance.random() < 0.1:
            oxygen += chance.choice((-1, 1)) * chance.uniform(0.5, 4.0)
        self._held = (self._held or (warm, oxygen)) if "stuck" in going else None
        warm, oxygen = self._held or (warm, oxygen)
        if "rubbish" in going and chance.random() < 0.5:
            warm, oxygen = chance.choice((-127.0, 85.0, 1e12)), chance.choice((-9.0, 99.0, 1e300))
        if "quiet" in going:
            return
        for _ in range(2 if chance.random() < 0.01 else 1):
            yield RawReading(probe, Quantity.OXYGEN, time_ms, round(oxygen, 2), "mg/L")
            in_f = "unit" in going
            yield RawReading(
                probe, Quantity.TEMPERATURE, time_ms, round(warm * 1.8 + 32 if in_f else warm, 2),
                "[degF]" if in_f else "Cel",
            )  # fmt: skip
