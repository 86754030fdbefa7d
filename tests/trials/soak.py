"""A week of the collector in time-lapse, with a week's accidents, and some minutes at real speed.

    python -m tests.trials.soak [--probes 50] [--days 7] [--speed 600] [--minutes 3]

Probes speak through pseudo-terminals, faster than life. Each day the service is away for two hours, one probe is pulled
out, one babbles and one flaps, each for an hour. Told: resident memory with its slope per day, what was lost or
doubled, and the share of one processor core at real speed. Must not do: judge on a slope of less than two days.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from os import sysconf
from pathlib import Path

from collector.simulated.ports import Port
from tests.bench.rooms import resident_mb
from tests.support.counting_service import CountingService

DAY_S, HOUR_S, EVERY_S = 86_400.0, 3_600.0, 10.0
MOST_MB, MOST_MB_A_DAY, MOST_CPU = 60.0, 0.25, 0.05
IN_THE_WIRE = 100
"""Lines that may be in a port's buffer when the probe is pulled out; on a real wire they are lost as well."""
PROBE = """
[[probe]]
id = "p{number}"
driver = "serial_lines"
port = "{port}"
every_s = 10
[[probe.value]]
quantity = "temperature"
unit = "Cel"
[[probe.value]]
quantity = "level"
unit = "cm"
"""


@dataclass
class Voice:
    """One probe: its port while it is plugged in, and how far it has counted."""

    path: Path
    port: Port | None = None
    count: int = 0
    babbles: bool = False

    def plug(self) -> None:
        """Plug it in."""
        self.port = self.port or Port(self.path)

    def unplug(self) -> None:
        """Pull it out."""
        if self.port is not None:
            self.port.close()
            self.port = None

    def say(self) -> None:
        """The next numbered line; counted only when somebody listens."""
        if self.port is None:
            return
        if self.babbles:
            self.port.write(b"\xff\x00 no number at all ;;;\n")
        elif self.port.write(f"{20 + self.count % 70 / 10:.1f},{self.count}\n".encode()):
            self.count += 1


@dataclass
class Told:
    """What a trial found. ``samples``: (lapsed days, resident MB)."""

    samples: list[tuple[float, float]] = field(default_factory=list)
    said: int = 0
    lost: int = 0
    doubled: int = 0
    unplugged: int = 0
    cpu_share: float = 0.0

    @property
    def most_mb(self) -> float:
        """The largest resident memory."""
        return max(mb for _, mb in self.samples)

    @property
    def mb_a_day(self) -> float:
        """Least-squares slope of resident memory, the first seventh left out."""
        rows = self.samples[len(self.samples) // 7 :]
        mean_x, mean_y = (sum(row[axis] for row in rows) / len(rows) for axis in (0, 1))
        spread = sum((x - mean_x) ** 2 for x, _ in rows)
        return sum((x - mean_x) * (y - mean_y) for x, y in rows) / spread if spread else 0.0


class Room:
    """Probes and a counting service around a running collector."""

    def __init__(self, folder: Path, probes: int, service: CountingService) -> None:
        self.voices = [Voice(folder / f"port-{number}") for number in range(probes)]
        self.service = service
        tables = (PROBE.format(number=number, port=voice.path) for number, voice in enumerate(self.voices))
        (folder / "room.toml").write_text('[room]\nname = "soak"\nzone = "UTC"\n' + "".join(tables), encoding="utf-8")
        (folder / "data").mkdir()
        (folder / "data" / "collector.token").write_text("any\n", encoding="utf-8")
        command = [sys.executable, "-m", "collector", "--room", str(folder / "room.toml")]
        command += ["--data", str(folder / "data"), "--service", service.url]
        self.log = (folder / "log").open("wb")
        for voice in self.voices:
            voice.plug()
        self.process = subprocess.Popen(command, stdout=self.log, stderr=self.log)

    def settled(self, within_s: float) -> bool:
        """Wait until everything that was said has come to the service, or the time is over."""
        end_s = time.monotonic() + within_s
        while time.monotonic() < end_s:
            if all(self.service.kept(f"p{n}") >= voice.count for n, voice in enumerate(self.voices)):
                return True
            time.sleep(0.5)
        return False

    def close(self) -> None:
        """End the collector and hang up."""
        self.process.terminate()
        self.process.wait(10)
        self.log.close()
        for voice in self.voices:
            voice.unplug()


@contextmanager
def room(probes: int) -> Iterator[Room]:
    """A room whose probes are read already."""
    with tempfile.TemporaryDirectory() as folder, CountingService() as service:
        one = Room(Path(folder), probes, service)
        try:
            end_s = time.monotonic() + 30
            while service.reports == 0 and time.monotonic() < end_s:
                time.sleep(0.1)
            time.sleep(1.0)
            yield one
        finally:
            one.close()


def accidents(one: Room, day: int, hour: float, told: Told) -> None:
    """What stands at this hour of this day; hours are told from 0 to 24."""
    voices = one.voices
    pulled, babbling, flapping = (voices[(day * 3 + place) % len(voices)] for place in range(3))
    one.service.away = 2 <= hour < 4
    babbling.babbles = 8 <= hour < 9
    if 12 <= hour < 13:
        told.unplugged += pulled.port is not None
        pulled.unplug()
    else:
        pulled.plug()
    if 16 <= hour < 17 and flapping.port is not None:
        told.unplugged += 1
        flapping.unplug()
    else:
        flapping.plug()


def lapse(one: Room, days: float, speed: float, told: Told) -> None:
    """So many days at so many times the speed of life."""
    began_s = time.monotonic()
    beat_s = EVERY_S / speed
    next_s, sampled_s = began_s, began_s
    while (lapsed_s := (time.monotonic() - began_s) * speed) < days * DAY_S:
        accidents(one, int(lapsed_s // DAY_S), lapsed_s % DAY_S / HOUR_S, told)
        for voice in one.voices:
            voice.say()
        if time.monotonic() - sampled_s >= 1.0:
            sampled_s = time.monotonic()
            told.samples.append((lapsed_s / DAY_S, resident_mb(one.process.pid)))
            if len(told.samples) % 60 == 0:
                print(f"day {lapsed_s / DAY_S:.2f}: {told.samples[-1][1]:.1f} MB", flush=True)
        next_s += beat_s
        time.sleep(max(0.0, next_s - time.monotonic()))
    accidents(one, int(days), 0.0, told)


def cpu_s(process_id: int) -> float:
    """Processor time a process has used. [s]"""
    fields = Path(f"/proc/{process_id}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / sysconf("SC_CLK_TCK")


def real_speed(one: Room, seconds: float) -> float:
    """The share of one core the collector takes while its probes speak as in life."""
    stop = threading.Event()

    def speak() -> None:
        while not stop.is_set():
            for voice in one.voices:
                voice.say()
                if stop.wait(EVERY_S / len(one.voices)):
                    return

    speaker = threading.Thread(target=speak)
    speaker.start()
    before_s, began_s = cpu_s(one.process.pid), time.monotonic()
    time.sleep(seconds)
    share = (cpu_s(one.process.pid) - before_s) / (time.monotonic() - began_s)
    stop.set()
    speaker.join()
    return share


def soak(probes: int, days: float, speed: float, real_s: float) -> Told:
    """The whole trial."""
    told = Told()
    with room(probes) as one:
        told.cpu_share = real_speed(one, real_s)
        lapse(one, days, speed, told)
        one.settled(60)
        told.samples.append((days, resident_mb(one.process.pid)))
        told.said = sum(voice.count for voice in one.voices)
        told.lost = told.said - sum(one.service.kept(f"p{n}") for n in range(probes))
        told.doubled = one.service.doubled
        print(Path(one.log.name).read_text(encoding="utf-8")[-2000:])
    return told


def main() -> int:
    """Run it and tell."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--probes", type=int, default=50)
    words.add_argument("--days", type=float, default=7.0)
    words.add_argument("--speed", type=float, default=600.0)
    words.add_argument("--minutes", type=float, default=3.0, help="at real speed")
    given = words.parse_args()
    told = soak(given.probes, given.days, given.speed, given.minutes * 60)
    print(
        f"{given.probes} probes, {given.days:g} days at {given.speed:g} times: {told.said} lines said, {told.lost} lost"
        f" at {told.unplugged} unpluggings, {told.doubled} doubled; at most {told.most_mb:.1f} MB,"
        f" {told.mb_a_day:+.3f} MB a day; {told.cpu_share:.2%} of a core at real speed"
    )
    well = told.most_mb < MOST_MB and told.cpu_share < MOST_CPU and not told.doubled
    well &= told.lost <= IN_THE_WIRE * told.unplugged and (given.days < 2 or told.mb_a_day < MOST_MB_A_DAY)
    return 0 if well else 1


if __name__ == "__main__":
    sys.exit(main())
