"""The room's programs as production starts them: each started, killed and started again, and what each of them said.

Must not do: stop anything it did not start.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

ROOT = Path(__file__).parents[2]
ENDS_WITHIN_S = 20.0


class Journal:
    """Who said what, and when, in seconds since the trial began."""

    def __init__(self, begin_s: float) -> None:
        self._begin_s = begin_s
        self._lines: list[tuple[float, str, str]] = []
        self._lock = threading.Lock()

    def now_s(self) -> float:
        """Seconds since the trial began."""
        return time.monotonic() - self._begin_s

    def note(self, who: str, text: str, at_s: float | None = None) -> None:
        """One line."""
        with self._lock:
            self._lines.append((self.now_s() if at_s is None else at_s, who, text))

    def between(self, start_s: float, end_s: float) -> list[str]:
        """What was said in a span, in order."""
        with self._lock:
            return [
                f"{at_s:8.2f} {who:9} {text}" for at_s, who, text in sorted(self._lines) if start_s <= at_s <= end_s
            ]


class Program:
    """One program. ``wanted``: it should be running now; ``died`` is told of every end but an asked-for one."""

    def __init__(
        self, name: str, command: Sequence[str], more: Mapping[str, str], journal: Journal, died: Callable[[], None]
    ) -> None:
        self.name, self._command, self._journal, self._died = name, list(command), journal, died
        self._environment = {**os.environ, "PYTHONUNBUFFERED": "1", **more}
        self._process: subprocess.Popen[str] | None = None
        self.wanted = False
        self.ends: list[str] = []

    @property
    def alive(self) -> bool:
        """Whether it runs."""
        return self._process is not None and self._process.poll() is None

    def start(self) -> None:
        """Start it unless it runs."""
        self.wanted = True
        if self.alive:
            return
        self._process = subprocess.Popen(
            self._command, cwd=ROOT, env=self._environment, text=True, errors="backslashreplace",
            stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
        )  # fmt: skip
        threading.Thread(target=self._listen, args=(self._process,), daemon=True).start()

    def _listen(self, process: subprocess.Popen[str]) -> None:
        if process.stdout is not None:
            with process.stdout as said:
                for line in said:
                    self._journal.note(self.name, line.rstrip())

    def kill(self) -> None:
        """End it as a crash would: kill -9."""
        self._end(signal.SIGKILL)

    def stop(self) -> int | None:
        """Ask it to end; its exit code."""
        return self._end(signal.SIGTERM)

    def _end(self, number: signal.Signals) -> int | None:
        self.wanted = False
        process, self._process = self._process, None
        if process is None:
            return None
        process.send_signal(number)
        try:
            code = process.wait(ENDS_WITHIN_S)
        except subprocess.TimeoutExpired:
            self.ends.append(f"{self._journal.now_s():.1f} s: did not end within {ENDS_WITHIN_S:g} s of {number.name}")
            process.kill()
            code = process.wait()
        self._died()
        return code

    def tend(self, excuse: str) -> None:
        """Start it again when it ended by itself, as ``intermolt run`` does; it is remembered, unless excused."""
        if not self.wanted or self._process is None or self._process.poll() is None:
            return
        code = self._process.returncode
        what = f"ended by itself, exit code {code}{f' ({excuse})' if excuse else ''}"
        self._journal.note("trial", f"the {self.name} {what}")
        if not excuse:
            self.ends.append(f"{self._journal.now_s():.1f} s: {what}")
        self._died()
        time.sleep(1.0)
        self.start()


def python(*arguments: str) -> list[str]:
    """A command of this project in the Python we run in."""
    return [sys.executable, *arguments]
