"""The collector's command line: ``python -m collector --room room.toml``.

Exit codes: 0 done, 1 found something wrong, 2 bad usage or input. Must not do: show a traceback for a person's mistake.
"""

from __future__ import annotations

import argparse
import signal
import sys
import threading
from collections.abc import Sequence
from pathlib import Path
from types import FrameType

from api.domain.errors import InputError
from collector.config import CollectorConfig, load_config
from collector.console import print_line
from collector.lock import DataDirLock
from collector.upstream import upstreams


def parser() -> argparse.ArgumentParser:
    """The words the command understands."""
    words = argparse.ArgumentParser(
        prog="python -m collector",
        description="Reads the room's probes and keeps every reading until the service has it.",
    )
    words.add_argument("--room", type=Path, default=Path("room.toml"), metavar="FILE", help="the room file (room.toml)")
    words.add_argument("--data", type=Path, metavar="DIR", help="where readings are kept (intermolt-data beside it)")
    words.add_argument("--service", metavar="URL", help="the service's address, instead of the room file's")
    words.add_argument("--name", default="main", help="this collector's name, when a room has several (main)")
    words.add_argument("--verify", action="store_true", help="check the room file's probes and stop")
    words.add_argument("--check", action="store_true", help="speak to each probe once and print what it says")
    words.add_argument(
        "--once", type=Path, nargs="+", metavar="FILE.csv", help="bring CSV files to the service, then stop"
    )
    words.add_argument(
        "--held", action="store_true", help="list readings whose time is not known (boot, s since boot, ...), then stop"
    )
    words.add_argument(
        "--believe-clock", action="store_true", help="say that this computer's clock is right now, then stop"
    )
    return words


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command; the exit code."""
    words = parser().parse_args(arguments)
    try:
        config = load_config(words.room, words.data, words.service)
        if words.verify:
            for way in upstreams(config, words.name):
                way.close()
            print_line(f"{words.room}: {len(config.probes)} probes can be read")
            return 0
        if words.check:
            from collector.check import check

            return check(config, print_line)
        if words.held:
            return _list_held(config)
        stop = _stop_on_signals()
        with DataDirLock(config.data):
            if words.believe_clock:
                return _believe_clock(config)
            if words.once:
                from collector.once import once  # tqdm is only wanted here

                return once(config, words.once, stop)
            return _collect(config, words.name, stop)
    except InputError as error:
        print(f"collector: {error}", file=sys.stderr)
        return 2


def _list_held(config: CollectorConfig) -> int:
    from collector.held import listed
    from collector.spool import NAME

    lines = list(listed(config.data / NAME))
    for line in lines:
        print_line(line)
    if not lines:
        print(f"no reading in {config.data} waits for its time", file=sys.stderr)
    return 0


def _believe_clock(config: CollectorConfig) -> int:
    from collector.hands import hands
    from collector.held import believe
    from collector.spool import NAME, Spool

    spool = Spool(config.data / NAME, config.spool_max_mb)
    try:
        print_line(f"this computer's clock is taken to be right: {believe(spool, hands())}")
    finally:
        spool.close()
    return 0


def _stop_on_signals() -> threading.Event:
    stop = threading.Event()

    def ask(number: int, frame: FrameType | None) -> None:
        # the main thread may hold the event's own lock at this moment, so another one sets it
        threading.Thread(target=stop.set, daemon=True).start()

    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, ask)
    return stop


def _collect(config: CollectorConfig, name: str, stop: threading.Event) -> int:
    from collector.runner import Runner, make_room_for_ports  # after the words are checked, so that help is quick

    make_room_for_ports()
    runner = Runner(config, name)
    way = config.service if config.uplink == "http" else "the broker of [room.mqtt]"
    print_line(f"collector {name}: {len(config.probes)} probes, readings kept in {config.data}, to {way}")
    runner.start()
    while not stop.wait(3600.0):
        pass
    runner.stop()
    print_line("collector stopped")
    return 0


if __name__ == "__main__":
    sys.exit(main())
