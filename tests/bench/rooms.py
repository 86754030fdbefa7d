"""What the benchmarks share: a room of invented tanks, a service in a process of its own, packs to send."""

from __future__ import annotations

import json
import os
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

START_S = 1_790_000_000


def room_text(tanks: int, port: int) -> str:
    """A room file of so many tanks, each with one probe for temperature and oxygen."""
    lines = ['[room]\nname = "Bench"\nzone = "UTC"\n[room.service]\n' + f"port = {port}\n"]
    for number in range(tanks):
        lines.append(
            f'[[tank]]\nid = "t{number}"\n[[probe]]\nid = "p{number}"\ntank = "t{number}"\ndriver = "serial_lines"\n'
            'port = "/dev/null"\n[[probe.value]]\nquantity = "temperature"\nunit = "Cel"\n'
            '[[probe.value]]\nquantity = "oxygen"\nunit = "mg/L"\n'
        )
    return "".join(lines)


def pack(number: int, probe: int) -> bytes:
    """Twenty readings: ten seconds apart, temperature and oxygen of one probe, fit water."""
    start_s = START_S + number * 100
    records = []
    for step in range(10):
        wave = 0.01 * ((number + step) % 7)
        records.append({"n": f"p{probe}/temperature", "u": "Cel", "v": 26.1 + wave, "t": start_s + step * 10})
        records.append({"n": f"p{probe}/oxygen", "u": "mg/L", "v": 7.8 - wave, "t": start_s + step * 10})
    return json.dumps(records).encode()


def free_port() -> int:
    """A port nobody listens on."""
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


@contextmanager
def service(folder: Path, tanks: int, more: str = "") -> Iterator[tuple[int, Path, subprocess.Popen[bytes]]]:
    """A service of its own: (port, data folder, process), stopped at the end. ``more`` are further tables."""
    port = free_port()
    room = folder / "room.toml"
    room.write_text(room_text(tanks, port) + more, encoding="utf-8")
    data = folder / "data"
    with serving(room, data, port) as process:
        yield port, data, process


@contextmanager
def serving(room: Path, data: Path, port: int) -> Iterator[subprocess.Popen[bytes]]:
    """A service of a room file."""
    command = [sys.executable, "-m", "api.cli", "serve", "--room", str(room), "--data", str(data)]
    process = subprocess.Popen(command, env=os.environ)
    try:
        wait_for(port)
        yield process
    finally:
        process.terminate()
        process.wait(15)


def wait_for(port: int) -> None:
    """Until the service answers."""
    for _ in range(300):
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{port}/api/v1/health", timeout=2):
                return
        except OSError:
            time.sleep(0.1)
    raise RuntimeError("the service did not answer within 30 s")


def resident_mb(process_id: int) -> float:
    """Resident memory of a process. [MB]"""
    for line in Path(f"/proc/{process_id}/status").read_text().splitlines():
        if line.startswith("VmRSS"):
            return int(line.split()[1]) / 1000
    raise RuntimeError(f"no memory figure for process {process_id}")
