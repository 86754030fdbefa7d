"""Invented recordings of rooms in which little happens: what a calm run is for, and now and then what ends one."""

from __future__ import annotations

import random
from math import exp, pi, sin

from api.domain.quantity import Quantity
from api.domain.reading import RawReading

START_MS = 1_788_000_000_000
Q = Quantity
VALUES = {
    "both": ('temperature", unit = "Cel', 'oxygen", unit = "mg/L'),
    "percent": ('temperature", unit = "Cel', 'oxygen_saturation", unit = "%'),
    "heat": ('temperature", unit = "Cel',),
    "air": ('oxygen", unit = "mg/L',),
    "salts": ('temperature", unit = "Cel', 'conductivity", unit = "uS/cm'),
}


def mild_text(kinds: list[list[str]], every_s: float) -> str:
    """A room file: for each tank its probes by what they measure."""
    parts = ['[room]\nname = "Mild"\nzone = "UTC"\n']
    for tank, probes in enumerate(kinds):
        parts.append(f'[[tank]]\nid = "t{tank}"\nvolume_l = 40\n')
        for place, kind in enumerate(probes):
            values = ", ".join(f'{{ quantity = "{value}" }}' for value in VALUES[kind])
            parts.append(
                f'[[probe]]\nid = "p{tank}{place}"\ntank = "t{tank}"\ndriver = "serial_lines"\nport = "/dev/null"\n'
                f"every_s = {every_s}\nvalue = [{values}]\n"
            )
    return "".join(parts)


def mild(seed: int, kinds: list[list[str]], hours: float, every_s: float, step: float) -> list[RawReading]:
    """Thermostat turns, a day's oxygen and noise, said in steps; some hours without air, a lifted probe, spikes, a
    silence and a fouling cap at random.
    """
    chance, out = random.Random(seed), list[RawReading]()
    count = int(hours * 3600 / every_s)
    for tank, probes in enumerate(kinds):
        falls, phase = [chance.uniform(0, hours) for _ in range(int(hours // 60))], chance.uniform(0, 24)
        noise = chance.choice([0.0, 0.01, 0.02, 0.05])
        for place, kind in enumerate(probes):
            away = [chance.uniform(0, hours) for _ in range(int(hours // 120))]
            silent = [chance.uniform(0, hours) for _ in range(int(hours // 150))]
            fouls_h = chance.choice([hours, 0.8 * hours])
            for look in range(count):
                hour = look * every_s / 3600
                if any(0 <= hour - one < 0.6 for one in silent):
                    continue
                lifted = any(0 <= hour - one < 0.4 for one in away)
                lost = sum(_lost(hour - one) for one in falls) + min(3.0, 0.12 * max(0.0, hour - fouls_h))
                warm = 26.0 + 0.2 * sin(hour * 5 + phase) + noise * chance.gauss(0, 1) - 4.0 * lifted
                oxygen = 7.3 + 0.3 * sin((hour + phase) * pi / 12) - lost + noise * chance.gauss(0, 1) + 0.9 * lifted
                if chance.random() < 0.0004:
                    oxygen += 2.0
                said = {"temperature": warm, "oxygen": max(0.0, oxygen), "conductivity": 410 + hour % 7}
                said["oxygen_saturation"] = 12.2 * said["oxygen"]
                for value in VALUES[kind]:
                    name, _, unit = value.partition('", unit = "')
                    number = round(round(said[name] / step) * step, 6)
                    time_ms = START_MS + int(look * every_s * 1000) + 250 * place
                    out.append(RawReading(f"p{tank}{place}", Q(name), time_ms, number, unit))
    return sorted(out, key=lambda one: one.time_ms)


def _lost(since_h: float) -> float:
    """Oxygen lost some time after the air stopped for four hours. [mg/L]"""
    if since_h < 0:
        return 0.0
    return 4.0 * (1 - exp(-0.3 * min(since_h, 4.0))) * exp(-2.0 * max(0.0, since_h - 4.0))
