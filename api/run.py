"""``intermolt run``: the service, the collector and (in a simulated room) the invented water, each watched.

Must not do: share a process with any of them; a crash of one never stops another.
"""

from __future__ import annotations

import shutil
import socket
import sys
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Callable
from datetime import datetime
from importlib.resources import as_file, files
from pathlib import Path
from zoneinfo import ZoneInfo

from api.domain.errors import InputError
from api.domain.tank import RoomFile
from api.folder_lock import held
from api.invented_colony import colony_table
from api.room_text import read_room
from api.serve import listening
from api.settings import Settings
from api.watched import Watched, call, stop_on_signals, watch_all

STARTS_WITHIN_S = 60.0
LAST_ENDS_WITHIN_S, LOOK_S = 10.0, 0.2


def run(mine: Settings, port: int | None = None) -> int:
    """Start everything, keep it going until Ctrl-C or a termination signal, then stop it in order."""
    if not mine.room.exists():
        _write_room(mine.room)
    file = read_room(mine.room)
    if port is not None and not 0 < port < 65536:
        raise InputError(f"port {port} is not between 1 and 65535")
    host, number = listening(mine, None, port)
    wait_for_the_last(mine.data, time.sleep)
    _port_is_free(host, number)
    page = f"http://{'127.0.0.1' if host in ('0.0.0.0', '::') else host}:{number}"  # noqa: S104 - compared, not bound
    stop = stop_on_signals()
    place = ["--room", str(mine.room), "--data", str(mine.data)]
    collect = [sys.executable, "-m", "collector", *place, "--service", page]
    if call([*collect, "--verify"], mine) != 0:
        return 2
    service = Watched("service", [sys.executable, "-m", "api.cli", "serve", *place, "--port", str(number)], mine)
    children = [service]
    try:
        service.start()
        if not _answers(service, page, stop):
            return 0 if stop.is_set() else 1
        print(f"The room's page: {page}", flush=True)
        if file.simulated is not None:
            children.append(_invented(file, mine, place, collect))
        children.append(Watched("collector", collect, mine))
        if not stop.is_set():
            watch_all(children, stop)
    finally:
        for child in reversed(children):
            child.stop()
        print("Stopped.", flush=True)
    return 0


def wait_for_the_last(data: Path, sleep: Callable[[float], None]) -> bool:
    """Let a service that is just ending come to its end; whether none works on the folder now.

    What was killed leaves its children a moment to stop in order. One that goes on is told of by the next step.
    """
    for look in range(round(LAST_ENDS_WITHIN_S / LOOK_S)):
        if not held(data):
            return True
        if look == 0:
            print(f"Another service works on {data}; waiting {LAST_ENDS_WITHIN_S:g} s for it to end.", flush=True)
        sleep(LOOK_S)
    return False


def _port_is_free(host: str, port: int) -> None:
    """Refuse to start where another program answers: its answers would be taken for the service's."""
    try:
        with socket.create_server((host, port), family=socket.AF_INET6 if ":" in host else socket.AF_INET):
            return
    except OSError as error:
        raise InputError(
            f"cannot listen on {host} port {port}: {error.strerror or error}. Is Intermolt running already?"
            " Stop the other program, or give another --port"
        ) from error


def _write_room(path: Path) -> None:
    """A commented room file for a simulated room, as the folder has none."""
    with as_file(files("collector.simulated") / "room.toml") as template:
        shutil.copyfile(template, path)
    print(f"There was no {path.name}: wrote one for a simulated room (invented data) to {path}", flush=True)


def _answers(service: Watched, page: str, stop: threading.Event) -> bool:
    """Wait until the service answers; False when it ended or the wait is over."""
    until = time.monotonic() + STARTS_WITHIN_S
    while time.monotonic() < until and not stop.is_set():
        if service.ended() is not None:
            print(f"The service did not start (exit code {service.ended()}); its message stands above.", flush=True)
            return False
        try:
            with urllib.request.urlopen(f"{page}/api/v1/health", timeout=2):  # noqa: S310 - our own loopback address
                return True
        except urllib.error.HTTPError:
            return True
        except OSError:
            time.sleep(0.1)
    return False


def _invented(file: RoomFile, mine: Settings, place: list[str], collect: list[str]) -> Watched:
    """Make the invented past once and send it through the line, then the invented present."""
    simulate = [sys.executable, "-m", "collector.simulated", *place]
    history = mine.data / "simulated" / "history.csv"
    done = mine.data / "simulated" / "history.sent"
    if not done.exists():
        days = file.simulated.history_days if file.simulated is not None else 0
        print(f"First start: making {days:g} days of invented past and sending it through the line.", flush=True)
        if call([*simulate, "--history"], mine) == 0 and call([*collect, "--once", str(history)], mine) == 0:
            done.touch()
            _invented_animals(file, mine, place)
    return Watched("simulated room", simulate, mine, ready="ports ready")


def _invented_animals(file: RoomFile, mine: Settings, place: list[str]) -> None:
    """Animals with a past for tanks that still stand in the room file, read in as a keeper's table is."""
    table = mine.data / "simulated" / "colony.csv"
    template = (files("collector.simulated") / "colony.csv").read_text(encoding="utf-8")
    tanks = {tank.id for tank in file.tanks}
    table.parent.mkdir(parents=True, exist_ok=True)
    table.write_text(colony_table(template, datetime.now(ZoneInfo(file.room.zone)).date(), tanks), encoding="utf-8")
    call([sys.executable, "-m", "api.cli", "animals", "import", str(table), "--person", "simulated room", *place], mine)
