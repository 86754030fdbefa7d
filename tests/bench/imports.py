"""A whole import of a logger's file beside a bare Polars read plus ``executemany``, in one run.

    python -m tests.bench.imports [--rows 2000000] [--probes 4] [--quiet-line]

The file is invented: rows of probe, time, temperature and oxygen, a row a minute and probe, with a stuck probe, spikes,
gaps and warm days in it. Ours: a service in a process of its own reads it block by block (``api.intake``), converts,
checks, derives, judges, summarises and keeps it, while live readings are posted to it over HTTP. Reference, in a
process of its own: ``polars.read_csv`` and one ``executemany`` of both quantities into the same table of a fresh file
with the same settings, one commit; before and after ours, as the machine may do other work. Prints the mean of both,
ours, their ratio (goal: 0.35 or better), the peak of the service's resident memory (goal: below 700 MB) and how long
live posts took (goal: 99 % below 1 s). ``--quiet-line``: without live posts.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from pathlib import Path

import httpx
import numpy as np
import polars as pl
import uvicorn

from api.importing import read
from api.intake.look import look
from api.settings import DATA_VARIABLE, ROOM_VARIABLE
from api.storage.migrations import migrate
from api.storage.sqlite import connect
from tests.bench.rooms import free_port, room_text, wait_for

MINUTE_MS, DAY_MS = 60_000, 86_400_000
INSERT = "INSERT OR IGNORE INTO reading VALUES (?, ?, ?, ?, ?, ?, ?, ?)"
LIVE_EVERY_S = 0.1
UNITS = {"temperature": "Cel", "oxygen": "mg/L"}


def write_file(path: Path, rows: int, probes: int) -> None:
    """A logger's file that ends a week ago."""
    chance = np.random.default_rng(20_120)
    each = rows // probes
    end_ms = time.time_ns() // 1_000_000 - 7 * DAY_MS
    times_ms = np.repeat(end_ms // MINUTE_MS * MINUTE_MS - np.arange(each, 0, -1) * MINUTE_MS, probes)
    count = len(times_ms)
    day = 2 * np.pi * times_ms / DAY_MS
    warm_c = 25.5 + 0.8 * np.sin(day) + 1.5 * np.sin(day / 30) + chance.normal(0, 0.03, count)
    oxygen_mg_l = 7.6 - 0.4 * np.sin(day) + chance.normal(0, 0.04, count)
    number = np.arange(count) // probes
    warm_c[number % 20_000 == 777] = -127.0  # a wire comes loose
    oxygen_mg_l[number % 15_000 == 333] += 4.0  # a bubble
    stuck = (number % 100_000 > 99_800) & (np.arange(count) % probes == 0)
    oxygen_mg_l[stuck] = 7.31
    warm_c[(number % 100_000 > 50_000) & (number % 100_000 < 50_300)] += 6.0  # a heater sticks for five hours
    there = number % 30_000 < 29_800  # gaps
    frame = pl.DataFrame(
        {
            "probe": np.tile([f"p{number}" for number in range(probes)], each)[there],
            "time": times_ms[there],
            "temperature (°C)": np.round(warm_c, 2)[there],
            "oxygen (mg/L)": np.round(oxygen_mg_l, 2)[there],
        }
    )
    frame.with_columns(pl.from_epoch("time", "ms").dt.strftime("%Y-%m-%dT%H:%M:%SZ")).write_csv(path)


def bare(file: Path, folder: Path) -> None:
    """The reference: prints rows and seconds."""
    connection = connect(folder / f"bare-{os.getpid()}.db")
    migrate(connection)
    start_s = time.perf_counter()
    frame = pl.read_csv(file, try_parse_dates=True)
    numbers = {probe: number for number, probe in enumerate(frame["probe"].unique().sort().to_list())}
    channel = frame["probe"].replace_strict(numbers).to_list()
    times_ms = frame["time"].dt.epoch("ms").to_list()
    rows = 0
    connection.execute("BEGIN IMMEDIATE")
    for place, name in enumerate(("temperature (°C)", "oxygen (mg/L)")):
        unit, values = list(UNITS.values())[place], frame[name].to_list()
        said = zip(channel, times_ms, values, strict=True)
        connection.executemany(INSERT, ((2 * one + place, t, v, unit, v, 1, None, 0) for one, t, v in said))
        rows += len(values)
    connection.execute("COMMIT")
    print(json.dumps({"readings": rows, "seconds": time.perf_counter() - start_s}))
    connection.close()


def peak_mb() -> float:
    """The most memory this process has had resident so far. [MB]"""
    lines = Path("/proc/self/status").read_text(encoding="ascii").splitlines()
    return next(int(line.split()[1]) / 1000 for line in lines if line.startswith("VmHWM"))


def ours(file: Path, port: int) -> None:
    """The service, which takes the file once somebody has written a line to it: prints rows, seconds and memory."""
    from importlib import import_module

    app = import_module("dashboard.app").build()
    service = app.state.service
    server = uvicorn.Server(uvicorn.Config(app, port=port, log_level="warning", access_log=False, http="httptools"))
    thread = threading.Thread(target=server.run)
    thread.start()
    sys.stdin.readline()
    before_mb = peak_mb()
    start_s, accepted, refused = time.perf_counter(), 0, 0
    understood = look(file)
    assert understood.recipe is not None, understood.questions
    for block in read(file, understood.recipe.to_json(), 0):
        kept = service.importing.keep.take(block.series, service.now_ms())
        accepted += kept.accepted
        refused += len(block.refused) + len(kept.refused) + kept.duplicate + len(kept.conflicts)
    service.importing.keep.finish()
    took_s = time.perf_counter() - start_s
    alerts = len(service.store.state.alerts(None, 100_000))
    print(
        json.dumps(
            {"readings": accepted, "refused": refused, "seconds": took_s, "before_mb": before_mb, "peak_mb": peak_mb()}
            | {"alerts": alerts}
        ),
        flush=True,
    )
    sys.stdin.readline()
    server.should_exit = True
    thread.join()


class Live(threading.Thread):
    """Posts ten readings every tenth of a second, and remembers how long each post took."""

    def __init__(self, port: int, token: str, probes: int) -> None:
        super().__init__(daemon=True)
        self._url, self._token, self._probes = f"http://127.0.0.1:{port}/api/v1/readings", token, probes
        self.over = threading.Event()
        self.took_s: list[float] = []
        self.refused = 0

    def run(self) -> None:
        """Post until it is over."""
        with httpx.Client(headers={"Authorization": f"Bearer {self._token}"}, timeout=60) as client:
            number = 0
            while not self.over.wait(LIVE_EVERY_S):
                probe, now_s = f"p{number % self._probes}", time.time()
                number += 1
                pack = [
                    {"n": f"{probe}/{quantity}", "u": UNITS[quantity], "v": value + 0.01 * ((number + n) % 7)}
                    | {"t": now_s - 0.01 * n}
                    for n in range(5)
                    for quantity, value in (("temperature", 26.1), ("oxygen", 7.7))
                ]
                start_s = time.perf_counter()
                answer = client.post(
                    self._url, content=json.dumps(pack), headers={"Content-Type": "application/senml+json"}
                )
                self.took_s.append(time.perf_counter() - start_s)
                self.refused += answer.status_code != 200 or bool(answer.json()["refused"])


def child(mode: str, *words: str) -> subprocess.Popen[str]:
    """This file in a process of its own."""
    command = [sys.executable, "-m", "tests.bench.imports", mode, *words]
    return subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)


def said(process: subprocess.Popen[str], done: Callable[[], object] = lambda: None) -> dict[str, float]:
    """The one line a process of ours prints."""
    assert process.stdout is not None
    line = process.stdout.readline()
    done()
    if process.wait(60) or not line:
        raise RuntimeError(f"a part of the benchmark ended with {process.returncode}")
    found: dict[str, float] = json.loads(line)
    return found


def beside_live(file: Path, folder: Path, probes: int, quiet: bool) -> tuple[dict[str, float], Live]:
    """Our import, with live readings meanwhile."""
    port = free_port()
    (folder / "room.toml").write_text(room_text(probes, port), encoding="utf-8")
    os.environ[ROOM_VARIABLE], os.environ[DATA_VARIABLE] = str(folder / "room.toml"), str(folder / "data")
    process = child("--ours", str(file), str(port))
    wait_for(port)
    live = Live(port, (folder / "data" / "collector.token").read_text().strip(), probes)
    if not quiet:
        live.start()
    assert process.stdin is not None
    tell = process.stdin

    def end() -> None:
        live.over.set()
        if not quiet:
            live.join()
        tell.write("enough\n")
        tell.flush()

    tell.write("go\n")
    tell.flush()
    return said(process, end), live


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--rows", type=int, default=2_000_000)
    parser.add_argument("--probes", type=int, default=4)
    parser.add_argument("--quiet-line", action="store_true")
    parser.add_argument("--bare", nargs=2, help=argparse.SUPPRESS)
    parser.add_argument("--ours", nargs=2, help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.bare:
        return bare(Path(given.bare[0]), Path(given.bare[1]))
    if given.ours:
        return ours(Path(given.ours[0]), int(given.ours[1]))
    with tempfile.TemporaryDirectory() as name:
        file = Path(name) / "logger.csv"
        write_file(file, given.rows, given.probes)
        reference = said(child("--bare", str(file), name))
        found, live = beside_live(file, Path(name), given.probes, given.quiet_line)
        after = said(child("--bare", str(file), name))
    reference["seconds"] = (reference["seconds"] + after["seconds"]) / 2
    if found["refused"] or found["readings"] != reference["readings"]:
        raise SystemExit(f"not all readings were kept: {found} beside {reference}")
    bare_rate, our_rate = (one["readings"] / one["seconds"] for one in (reference, found))
    print(f"bare Polars read and executemany  {bare_rate:>9,.0f} readings/s   {reference['seconds']:.1f} s")
    print(f"whole import                      {our_rate:>9,.0f} readings/s   {found['seconds']:.1f} s", end="")
    print(f"   ratio {our_rate / bare_rate:.2f}   ({found['readings']:,.0f} readings, {found['alerts']:.0f} alerts)")
    print(f"service's resident memory         {found['peak_mb']:>9.0f} MB at its peak, {found['before_mb']:.0f} before")
    if live.took_s:
        p50, p99, most = (1000 * float(one) for one in np.quantile(live.took_s, (0.5, 0.99, 1.0)))
        print(
            f"live posts meanwhile              {len(live.took_s):>9} of ten readings: median {p50:.0f} ms, 99 % within"
            f" {p99:.0f} ms, longest {most:.0f} ms, {live.refused} refused"
        )
    return None


if __name__ == "__main__":
    main()
