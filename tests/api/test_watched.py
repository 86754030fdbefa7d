"""Children that are kept alive: started again with back-off, stopped in order, gone when their parent is."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from api import watched
from api.settings import Settings
from api.watched import Watched, call, watch_all

SLEEP = [sys.executable, "-c", "import time; print('ready', flush=True); time.sleep(60)"]
ROOT = Path(__file__).parents[2]


def until(true: Callable[[], bool], within_s: float = 10) -> None:
    """Wait for something to become so."""
    end_s = time.monotonic() + within_s
    while not true():
        assert time.monotonic() < end_s, "it did not happen in time"
        time.sleep(0.02)


def alive(pid: int) -> bool:
    """Whether a process runs (a dead one that nobody has waited for does not count)."""
    try:
        return "\nState:\tZ" not in Path(f"/proc/{pid}/status").read_text(encoding="ascii")
    except (FileNotFoundError, ProcessLookupError):
        return False


def pid_of(child: Watched) -> int:
    """The child's process id."""
    assert child._process is not None
    return child._process.pid


@pytest.fixture
def mine(tmp_path: Path) -> Settings:
    """Settings of an empty folder."""
    return Settings(tmp_path / "room.toml", tmp_path / "data")


def test_a_child_that_dies_is_started_again(
    mine: Settings, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """After a wait that is told and doubles; the words name it and how it ended."""
    monkeypatch.setattr(watched, "FIRST_WAIT_S", 0.1)
    child, stop = Watched("sleeper", SLEEP, mine, ready="ready"), threading.Event()
    child._wait_s = 0.1
    tender = threading.Thread(target=watch_all, args=([child], stop))
    tender.start()
    try:
        until(lambda: child._process is not None and child.ended() is None)
        for _ in range(2):
            first = pid_of(child)
            os.kill(first, signal.SIGKILL)
            until(lambda was=first: child._process is not None and pid_of(child) != was)  # type: ignore[misc]
    finally:
        stop.set()
        tender.join()
        child.stop()
    assert child.ended() is not None
    said = capsys.readouterr().out
    assert "The sleeper ended (signal SIGKILL); started again in 0.1 s." in said
    assert "started again in 0.2 s." in said
    assert child._wait_s == pytest.approx(0.4)


def test_the_wait_has_a_longest_and_forgets(mine: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    """Half a minute at most; a child that ran steadily starts afresh."""
    child = Watched("brief", [sys.executable, "-c", "raise SystemExit(3)"], mine)
    child._wait_s = watched.LONGEST_WAIT_S
    child.start()
    until(lambda: child.ended() == 3)
    child.tend()
    assert child._wait_s == watched.LONGEST_WAIT_S
    assert child.ended() is None, "not started before its wait is over"
    child.tend()
    assert child._process is None
    monkeypatch.setattr(watched, "STEADY_S", -1.0)
    child.start()
    until(lambda: child.ended() == 3)
    child.tend()
    assert child._wait_s == 2 * watched.FIRST_WAIT_S


def test_a_child_that_will_not_end_is_ended(mine: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    """Asked first, then killed."""
    monkeypatch.setattr(watched, "STOPS_WITHIN_S", 0.3)
    stubborn = "import signal, time; signal.signal(15, signal.SIG_IGN); print('ready', flush=True); time.sleep(60)"
    child = Watched("stubborn", [sys.executable, "-c", stubborn], mine, ready="ready")
    child.start()
    child.stop()
    assert child.ended() == -signal.SIGKILL
    child.stop()


def test_call_gives_the_exit_code(mine: Settings) -> None:
    """And the child knows where this installation keeps its things."""
    code = "import os, sys; sys.exit(7 if os.environ['INTERMOLT_DATA'].endswith('data') else 1)"
    assert call([sys.executable, "-c", code], mine) == 7


@pytest.mark.skipif(sys.platform != "linux", reason="the kernel's parent-death signal is Linux's")
def test_children_die_with_their_parent(tmp_path: Path) -> None:
    """A killed parent leaves no child behind to write beside the next one."""
    code = (
        "import time; from pathlib import Path; from api.settings import Settings; from api.watched import Watched;"
        f"child = Watched('c', {SLEEP!r}, Settings(Path('r'), Path('d')), ready='ready'); child.start();"
        "print(child._process.pid, flush=True); time.sleep(60)"
    )
    parent = subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True, cwd=ROOT)
    try:
        assert parent.stdout is not None
        pid = int(parent.stdout.readline())
        assert alive(pid)
    finally:
        parent.kill()
        parent.wait()
        if parent.stdout is not None:
            parent.stdout.close()
    until(lambda: not alive(pid))
