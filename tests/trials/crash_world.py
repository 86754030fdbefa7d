"""One room of the trial: probes, programs, networks, disks and clocks, put together for one way of readings.

Must not do: break anything by itself.
"""

from __future__ import annotations

import os
import shutil
import time
from contextlib import ExitStack
from pathlib import Path
from types import TracebackType

from tests.bench.rooms import free_port, wait_for
from tests.support.mosquitto import Mosquitto
from tests.trials import crash_clock
from tests.trials.crash_bench import Bench
from tests.trials.crash_disk import Disk
from tests.trials.crash_network import Network
from tests.trials.crash_programs import Journal, Program, python

ROOM = '[room]\nname = "Crash room"\nzone = "UTC"\n[room.service]\nport = {port}\n[room.collector]\n'
HTTP = 'service = "http://127.0.0.1:{network}"\n'
MQTT = 'uplink = "mqtt"\nservice = "http://127.0.0.1:9"\n[room.mqtt]\nport = {network}\n'
BROKER = "set_tcp_nodelay true\nmax_packet_size 10000000"
IN_MEMORY_BEFORE_S, IN_MEMORY_AFTER_S = 2.0, 7.0
"""A full disk may meet a line said just before; the collector tries it anew every 5 s. [s]"""
PROGRAMS = ("collector", "service")


class Clock:
    """One program's wall clock, by a file that the program reads."""

    def __init__(self, path: Path) -> None:
        self.path = path
        path.write_bytes(crash_clock.words(0, True))
        self.offset_ms = 0

    def set(self, offset_ms: int, synced: bool) -> None:
        """Wrong by so much from now on."""
        self.offset_ms = offset_ms
        descriptor = os.open(self.path, os.O_WRONLY)
        try:
            os.pwrite(descriptor, crash_clock.words(offset_ms, synced), 0)
        finally:
            os.close(descriptor)


class World:
    """Everything, running. Use as a context."""

    def __init__(self, folder: Path, uplink: str) -> None:
        self.uplink, self.folder = uplink, folder
        begin_s = time.monotonic()
        self.journal = Journal(begin_s)
        self.bench = Bench(folder / "lines", begin_s)
        self.disks = {name: Disk(folder / name) for name in PROGRAMS}
        self.clocks = {name: Clock(folder / f"{name}.clock") for name in PROGRAMS}
        self.port = free_port()
        self.broker = Mosquitto(folder / "broker", extra=BROKER) if uplink == "mqtt" else None
        targets = {"collector": self.port} if self.broker is None else dict.fromkeys(PROGRAMS, self.broker.port)
        self.networks = {name: Network(target) for name, target in targets.items()}
        self.programs = {name: self._program(name) for name in PROGRAMS}
        self.broker_up = False
        self._full_since_s: float | None = None
        self._freed_s = 0.0
        self._stack = ExitStack()

    def _program(self, name: str) -> Program:
        room = self.folder / f"{name}.toml"
        text = ROOM.format(port=self.port)
        if self.broker is not None:
            text += MQTT.format(network=self.networks[name].port)
        else:
            text += HTTP.format(network=self.networks["collector"].port)
        room.write_text(text + self.bench.tables(), encoding="utf-8")
        site = self.folder / "site"
        site.mkdir(exist_ok=True)
        shutil.copyfile(crash_clock.__file__, site / "sitecustomize.py")
        head = ["-m", "api.cli", "serve"] if name == "service" else ["-m", "collector"]
        place = ["--room", str(room), "--data", str(self.disks[name].folder)]
        more = {"PYTHONPATH": str(site), crash_clock.VARIABLE: str(self.clocks[name].path)}
        return Program(name, python(*head, *place), more, self.journal, lambda: self._died(name))

    @property
    def database(self) -> Path:
        """Where the service keeps readings."""
        return self.disks["service"].folder / "intermolt.db"

    @property
    def spool(self) -> Path:
        """Where the collector keeps readings."""
        return self.disks["collector"].folder / "spool.db"

    def _died(self, name: str) -> None:
        if name == "collector":
            self.bench.gone(self._memory_since_s())
            time.sleep(0.05)  # what it had said to a probe in its last moment arrives and is thrown away

    def _memory_since_s(self) -> float | None:
        """Since when readings may be in the collector's memory only; None when its disk takes them."""
        now_s = self.journal.now_s()
        if self._full_since_s is not None and self._freed_s and now_s - self._freed_s > IN_MEMORY_AFTER_S:
            self._full_since_s = None
        return self._full_since_s

    def fill(self, name: str) -> None:
        """A program's disk is full."""
        if name == "collector":
            self._memory_since_s()
            self._full_since_s = self._full_since_s or max(0.0, self.journal.now_s() - IN_MEMORY_BEFORE_S)
            self._freed_s = 0.0
        self.disks[name].fill()

    def free(self, name: str) -> None:
        """There is room again."""
        self.disks[name].free()
        if name == "collector":
            self._freed_s = self.journal.now_s()

    def kill_broker(self) -> None:
        """Broker by kill -9."""
        if self.broker is not None:
            self.broker.kill()
            self.broker_up = False

    def start_broker(self) -> None:
        """The broker anew."""
        if self.broker is not None and not self.broker_up:
            self.broker.start()
            self.broker_up = True

    def sleep(self, for_s: float) -> None:
        """Time passes; a program that ended by itself is started again."""
        end_s = time.monotonic() + for_s
        while (left_s := end_s - time.monotonic()) > 0:
            time.sleep(min(0.1, left_s))
            for name, program in self.programs.items():
                program.tend("its disk was full" if self.disks[name].lately_full else "")

    def __enter__(self) -> World:
        self._stack.callback(self.end)
        self.start_broker()
        for network in self.networks.values():
            self._stack.enter_context(network)
        self.programs["service"].start()
        wait_for(self.port)
        token = "collector.token"
        shutil.copy(self.disks["service"].folder / token, self.disks["collector"].folder / token)
        self.programs["collector"].start()
        self._stack.enter_context(self.bench)
        return self

    def end(self) -> dict[str, int | None]:
        """Stop everything in order; exit codes."""
        codes = {name: self.programs[name].stop() for name in PROGRAMS}
        self.kill_broker()
        self._note_broker()
        return codes

    def _note_broker(self) -> None:
        """The broker's own log, whose lines begin with Unix seconds, into the journal."""
        if self.broker is not None and (log := self.broker.folder / "mosquitto.log").exists():
            for line in log.read_text(encoding="utf-8", errors="backslashreplace").splitlines():
                stamp, _, text = line.partition(": ")
                if stamp.isdigit():
                    self.journal.note("broker", text, int(stamp) - time.time() + self.journal.now_s())
            log.unlink()

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._stack.close()
