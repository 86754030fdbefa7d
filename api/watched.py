"""A child process that is kept alive: started again with back-off when it dies, stopped in order when asked.

Must not do: know what the child does.
"""

from __future__ import annotations

import ctypes
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Sequence

from api.settings import Settings

FIRST_WAIT_S, LONGEST_WAIT_S, STEADY_S = 1.0, 30.0, 60.0
STOPS_WITHIN_S = 8.0
DIE_WITH_PARENT = 1
"""PR_SET_PDEATHSIG of prctl(2)."""


class Watched:
    """One child. ``ready``: wait at the start for this line on its standard output."""

    def __init__(self, name: str, command: Sequence[str], mine: Settings, ready: str = "") -> None:
        self.name, self._command, self._mine, self._ready = name, list(command), mine, ready
        self._process: subprocess.Popen[str] | None = None
        self._wait_s, self._started_s, self._next_s = FIRST_WAIT_S, 0.0, 0.0

    def start(self) -> None:
        """Start the child."""
        pipe = subprocess.PIPE if self._ready else None
        self._process = spawn(self._command, self._mine, pipe)
        self._started_s = time.monotonic()
        if self._process.stdout is not None:
            for line in self._process.stdout:
                if line.strip() == self._ready:
                    break
            threading.Thread(target=_pass_on, args=(self._process,), daemon=True).start()

    def ended(self) -> int | None:
        """The exit code of a child that is not running, None while it runs."""
        return None if self._process is None else self._process.poll()

    def tend(self) -> None:
        """Start a child that was not started yet or has died; wait longer each time, unless it had run steadily."""
        now_s = time.monotonic()
        if self._process is None:
            if now_s >= self._next_s:
                self.start()
            return
        code = self._process.poll()
        if code is None:
            return
        if now_s - self._started_s > STEADY_S:
            self._wait_s = FIRST_WAIT_S
        print(f"The {self.name} ended ({_how(code)}); started again in {self._wait_s:g} s.", flush=True)
        self._process = None
        self._next_s = now_s + self._wait_s
        self._wait_s = min(LONGEST_WAIT_S, self._wait_s * 2)

    def stop(self) -> None:
        """Ask the child to end, and end it when it does not."""
        if self._process is None or self._process.poll() is not None:
            return
        self._process.terminate()
        try:
            self._process.wait(STOPS_WITHIN_S)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()


def spawn(command: Sequence[str], mine: Settings, stdout: int | None = None) -> subprocess.Popen[str]:
    """A child in a session of its own (a Ctrl-C reaches it through us, once) that dies when we do."""
    return subprocess.Popen(
        command, env=mine.environment(), stdout=stdout, stdin=subprocess.DEVNULL, text=True,
        start_new_session=True, preexec_fn=_die_with_parent,
    )  # fmt: skip


def call(command: Sequence[str], mine: Settings) -> int:
    """Run a child to its end and return its exit code; a Ctrl-C ends it too."""
    process = spawn(command, mine)
    try:
        return process.wait()
    except BaseException:
        process.terminate()
        process.wait(STOPS_WITHIN_S)
        raise


def watch_all(children: Sequence[Watched], stop: threading.Event) -> None:
    """Tend every child until told to stop."""
    while not stop.wait(0.2):
        for child in children:
            child.tend()


def stop_on_signals() -> threading.Event:
    """An event set by Ctrl-C or a termination signal; a second Ctrl-C interrupts at once."""
    stop = threading.Event()

    def told(number: int, frame: object) -> None:
        stop.set()
        signal.signal(signal.SIGINT, signal.default_int_handler)

    signal.signal(signal.SIGINT, told)
    signal.signal(signal.SIGTERM, told)
    return stop


def _die_with_parent() -> None:
    if sys.platform == "linux":
        ctypes.CDLL(None).prctl(DIE_WITH_PARENT, signal.SIGTERM)


def _pass_on(process: subprocess.Popen[str]) -> None:
    if process.stdout is not None:
        with process.stdout as said:
            for line in said:
                print(line, end="", flush=True)


def _how(code: int) -> str:
    return f"signal {signal.Signals(-code).name}" if code < 0 else f"exit code {code}"
