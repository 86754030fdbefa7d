"""Puts the collector's parts together, starts them, and stops them in order within five seconds.

Must not do: read probes or send readings itself.
"""

from __future__ import annotations

import resource
import threading
import time
from functools import partial
from importlib.metadata import PackageNotFoundError, version

from api.domain.tank import Room
from collector import last_word
from collector.clock import is_dated, now_ms
from collector.config import CollectorConfig
from collector.console import Console
from collector.dating import Dating
from collector.hands import boot_ms, hands
from collector.heartbeat import Heartbeats, ailment
from collector.held import Held
from collector.reporter import Reporter
from collector.sender import send
from collector.spool import NAME, Spool
from collector.standing import Standing
from collector.status import StatusBoard
from collector.uplink import Uplink
from collector.upstream import upstreams
from collector.voice import Outside, SecondVoice
from collector.worker import Worker

STOP_S = 3.0
SPOOL_STOP_S = 1.5
STACK_BYTES = 512 * 1024
FILES = 8192


def program_version() -> str:
    """The installed version, or a word that says there is none."""
    try:
        return version("intermolt")
    except PackageNotFoundError:
        return "not installed"


def make_room_for_ports() -> None:
    """Two hundred ports need small stacks, and more open files than the usual limit."""
    threading.stack_size(STACK_BYTES)
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    if soft != resource.RLIM_INFINITY and soft < FILES:
        wanted = FILES if hard == resource.RLIM_INFINITY else min(FILES, hard)
        resource.setrlimit(resource.RLIMIT_NOFILE, (wanted, hard))


class Runner:
    """All parts of one collector."""

    def __init__(self, config: CollectorConfig, name: str = "main", console: Console | None = None) -> None:
        self.stop_event = threading.Event()
        self.console = console or Console(time.monotonic)
        self._services = upstreams(config, name)
        self.spool = Spool(config.data / NAME, config.spool_max_mb)
        self.held = Held(self.spool, hands())
        self.dating = Dating(self.held, partial(self.console.say, "clock"), self.stop_event)
        self.dating.look()  # so that the first stamps are dates already
        self.board = StatusBoard(now_ms, program_version(), self.console.say, time.monotonic)
        self.uplink = Uplink(
            self.spool,
            self._services[0],
            self.stop_event,
            config.pack_size,
            say=lambda text: self.console.say("service", text),
        )
        self.voice = self._second_voice(config)
        self.heartbeats = self._heartbeats(config, name)
        self.reporter = Reporter(
            self.board, self.spool, self._services[1], self.console, self.stop_event, name, self.voice.answered,
            lambda: self.held.state().words,
            lambda document: last_word.write(config.data, document, self.board.newest()),
        )  # fmt: skip
        self.workers = [
            Worker(checked, config, self.spool, self.board, self.stop_event, hear=self.voice.hear, held=self.held)
            for checked in config.probes
        ]
        self.standing = Standing(self.late_s, partial(self.console.say, "standing"))

    def late_s(self) -> dict[str, float]:
        """By how much each part is overdue. [s]"""
        ports = {f"port {worker.name}": worker.late_s() for worker in self.workers}
        rest = {"uplink": self.uplink.late_s(), "reporter": self.reporter.late_s(), "spool": self.spool.late_s()}
        return ports | rest

    def _second_voice(self, config: CollectorConfig) -> SecondVoice:
        room, clock = config.room, self.held.clock
        outside = Outside(boot_ms, self._counts, clock.boot_id, self._date_ms, clock.doubt)
        return SecondVoice(
            config.data,
            room.room if room is not None else Room("the room", "UTC"),
            room.everyone if room is not None else (),
            config.second_voice_after_s,
            send,
            outside,
            self.stop_event,
            partial(self.console.say, "second voice"),
        )

    def _counts(self) -> tuple[int, int]:
        """Readings the service has taken, and those that wait for it or for their time."""
        return self.uplink.delivered.done, self.spool.state().waiting + self.held.state().waiting

    def _date_ms(self) -> int | None:
        now_ms = self.held.clock.now_ms()
        return now_ms if is_dated(now_ms) else None

    def _heartbeats(self, config: CollectorConfig, name: str) -> Heartbeats | None:
        settings = config.room.heartbeat if config.room is not None else None
        if settings is None:
            return None
        say = partial(self.console.say, "heartbeat")
        return Heartbeats(settings, name, lambda: ailment(self.board, self.spool), say, self.stop_event)

    def start(self) -> None:
        """Start every part."""
        self.dating.start()
        self.uplink.start()
        self.reporter.start()
        self.voice.start()
        if self.heartbeats is not None:
            self.heartbeats.start()
        for worker in self.workers:
            worker.start()
        self.standing.ready()

    def stop(self) -> None:
        """Stop reading, then sending, then close the spool; a part that hangs is left behind."""
        end_s = time.monotonic() + STOP_S
        self.standing.stopping()
        self.stop_event.set()
        self.spool.arrived.set()
        for join in [worker.join for worker in self.workers] + [
            self.uplink.join,
            self.reporter.join,
            self.voice.join,
            self.dating.join,
        ]:
            join(max(0.0, end_s - time.monotonic()))
        for service in self._services:
            service.close()
        self.spool.close(SPOOL_STOP_S)
        if self.spool.lost:
            self.console.say("spool", f"{self.spool.lost} readings were in memory only and are lost: the disk was full")
