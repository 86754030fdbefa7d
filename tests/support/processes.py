"""The production processes in tests: service and collector, each started, killed and started again.

Must not do: stop anything it did not start.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path
from types import TracebackType

from tests.bench.rooms import wait_for


class Processes:
    """A service and a collector on one room file and one data folder."""

    def __init__(self, room: Path, data: Path, port: int) -> None:
        self._place = ["--room", str(room), "--data", str(data)]
        self._port = port
        self._log = (data.parent / "processes.log").open("ab")
        self.running: dict[str, subprocess.Popen[bytes]] = {}

    def start(self, name: str, *, wait: bool = True) -> None:
        """Start "service" or "collector"."""
        head = ["-m", "api.cli", "serve"] if name == "service" else ["-m", "collector"]
        command = [sys.executable, *head, *self._place]
        self.running[name] = subprocess.Popen(command, stdout=self._log, stderr=self._log, env=os.environ)
        if name == "service" and wait:
            wait_for(self._port)

    def kill(self, name: str) -> None:
        """End it as a crash would: kill -9."""
        process = self.running.pop(name)
        process.send_signal(signal.SIGKILL)
        process.wait(10)

    def __enter__(self) -> Processes:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        for process in self.running.values():
            process.terminate()
        for process in self.running.values():
            process.wait(15)
        self._log.close()
