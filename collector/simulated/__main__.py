"""``python -m collector.simulated``: make the invented room's past once, or run it until it is told to stop.

Must not do: start or know the service. Exit codes: 0 done, 2 bad usage or input.
"""

from __future__ import annotations

import argparse
import signal
import sys
import time
from pathlib import Path
from types import FrameType

from api.domain.errors import InputError
from api.domain.roomfile import parse_room
from collector.simulated import saved as saved_room
from collector.simulated.demo import Demo, demo_of, live_past
from collector.simulated.history import write_history
from collector.simulated.live import Live, open_ports, run
from collector.simulated.ports import alone
from collector.simulated.saved import Saved


def main(arguments: list[str] | None = None) -> int:
    """Read the arguments and do what they say."""
    parser = argparse.ArgumentParser(prog="python -m collector.simulated", description="An invented room of tanks.")
    parser.add_argument("--room", type=Path, required=True, help="the room file, with a [room.simulated] table")
    parser.add_argument("--data", type=Path, required=True, help="the data folder; files go to simulated/ in it")
    parser.add_argument("--history", action="store_true", help="write the days before the first start, then end")
    given = parser.parse_args(arguments)
    try:
        demo = _demo(given.room)
        folder = given.data / "simulated"
        return _history(demo, folder) if given.history else _live(demo, folder)
    except InputError as error:
        print(error, file=sys.stderr)
    except OSError as error:
        print(f"The simulated room cannot use {error.filename or 'the disk or a port'}: {error}.", file=sys.stderr)
    return 2


def _demo(room: Path) -> Demo:
    try:
        text = room.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"{room}: the room file cannot be read: {error}. Give its path with --room.") from error
    return demo_of(parse_room(text, str(room)), str(room))


def _now_ms() -> int:
    return time.time_ns() // 1_000_000


def _read(demo: Demo, folder: Path, now_ms: int) -> Saved | None:
    return saved_room.read(folder / "state.json", demo.names, demo.scene(now_ms).tanks)


def _history(demo: Demo, folder: Path) -> int:
    now_ms = _now_ms()
    if _read(demo, folder, now_ms) is not None:
        print(f"This room has begun already ({folder / 'state.json'}): no history written.")
        return 0
    count = write_history(demo, folder, now_ms)
    print(f"{count} readings of {demo.settings.history_days:g} days written to {folder / 'history.csv'}.")
    return 0


def _live(demo: Demo, folder: Path) -> int:
    stop = False

    def on_signal(_number: int, _frame: FrameType | None) -> None:
        nonlocal stop
        stop = True

    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, on_signal)
    with alone(folder, lambda: stop, time.sleep), open_ports(demo, folder / "ports") as ports:
        print("ports ready", flush=True)
        now_ms = _now_ms()
        saved = _read(demo, folder, now_ms)
        if saved is None:
            for _, saved in live_past(demo, now_ms):  # noqa: B007 - the last one is the room now
                if stop:
                    break
        if saved is not None and not stop:
            run(Live(demo, saved), ports, folder / "state.json", lambda: stop, _now_ms, time.sleep)
    return 0


if __name__ == "__main__":
    sys.exit(main())
