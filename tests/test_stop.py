"""An orderly end within five seconds, under load and with every neighbour hanging; what was acknowledged is kept."""

from __future__ import annotations

import http.client
import json
import signal
import socket
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, closing, contextmanager
from pathlib import Path

from collector.simulated.ports import Port
from collector.spool import NAME, Spool
from tests.bench.rooms import START_S, free_port, wait_for

STOPS_WITHIN_S = 5.0
SENDERS, PAGES, PROBES = 6, 5, 50


@contextmanager
def deaf() -> Iterator[int]:
    """A port where somebody takes every call and never says a word."""
    with socket.create_server(("127.0.0.1", 0), backlog=200) as ear:
        yield int(ear.getsockname()[1])


@contextmanager
def started(folder: Path, *words: str) -> Iterator[subprocess.Popen[bytes]]:
    """A process of ours, killed at the end if it is still there."""
    with (folder / "log").open("wb") as log:
        command = [sys.executable, "-m", *words, "--room", str(folder / "room.toml"), "--data", str(folder / "data")]
        process = subprocess.Popen(command, stdout=log, stderr=log)
        try:
            yield process
        finally:
            if process.poll() is None:
                process.kill()
                process.wait()


def stop_s(process: subprocess.Popen[bytes]) -> float:
    """How long the process takes to end after a termination signal."""
    began_s = time.monotonic()
    process.send_signal(signal.SIGTERM)
    process.wait(3 * STOPS_WITHIN_S)
    return time.monotonic() - began_s


class Sender(threading.Thread):
    """Posts packs without a pause until it gets no answer; ``accepted`` are the times of what was answered with 200."""

    def __init__(self, number: int, port: int, token: str) -> None:
        super().__init__(daemon=True)
        self._probe, self._port, self._token = f"p{number}", port, token
        self.accepted: list[int] = []

    def run(self) -> None:
        """Post."""
        headers = {"Content-Type": "application/senml+json", "Authorization": f"Bearer {self._token}"}
        line = http.client.HTTPConnection("127.0.0.1", self._port, timeout=10)
        at_s = START_S
        with closing(line):
            while True:
                times = list(range(at_s, at_s + 100))
                at_s += 100
                pack = [{"n": f"{self._probe}/level", "u": "cm", "v": 1.0 + t % 7, "t": t} for t in times]
                try:
                    line.request("POST", "/api/v1/readings", json.dumps(pack).encode(), headers)
                    answer = line.getresponse()
                    answer.read()
                except (OSError, http.client.HTTPException):
                    return
                if answer.status == 200:
                    self.accepted += times


def test_the_service_ends_in_order_under_load(tmp_path: Path) -> None:
    """Packs coming in, pages open, a phone's address that hangs, half a request: ended in time, nothing lost."""
    port = free_port()
    with ExitStack() as stack:
        phone = stack.enter_context(deaf())
        text = f'[room]\nname = "Stop room"\nzone = "UTC"\n[room.service]\nport = {port}\n'
        text += f'[room.heartbeat]\nurl = "http://127.0.0.1:{phone}/"\n[[notify]]\nname = "phone"\n'
        text += f'url = "json://127.0.0.1:{phone}/?rto=60&cto=60"\n[[tank]]\nid = "t1"\n'
        (tmp_path / "room.toml").write_text(text, encoding="utf-8")
        service = stack.enter_context(started(tmp_path, "api.cli", "serve"))
        wait_for(port)
        with sqlite3.connect(tmp_path / "data" / "intermolt.db") as database:
            database.execute(
                "INSERT INTO outbox (target, title, body, created_ms, next_ms) VALUES ('phone', 'a', 'b', 0, 0)"
            )
        database.close()
        for _ in range(PAGES):
            page = stack.enter_context(closing(socket.create_connection(("127.0.0.1", port))))
            page.sendall(f"GET /live?page=room HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n".encode())
            assert b" 200 " in page.recv(200)
        half = stack.enter_context(closing(socket.create_connection(("127.0.0.1", port))))
        half.sendall(
            f"POST /api/v1/readings HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nContent-Length: 500\r\n\r\n[".encode()
        )
        token = (tmp_path / "data" / "collector.token").read_text(encoding="ascii").strip()
        senders = [Sender(number, port, token) for number in range(SENDERS)]
        for sender in senders:
            sender.start()
        time.sleep(7.0)  # the outbox and the heartbeat have begun to wait for the phone
        took_s = stop_s(service)
        for sender in senders:
            sender.join(15)
    said = (tmp_path / "log").read_text(encoding="utf-8")
    print(f"ended in {took_s:.1f} s; {sum(len(sender.accepted) for sender in senders)} readings taken\n{said}")
    assert took_s < STOPS_WITHIN_S
    assert "Traceback" not in said
    with sqlite3.connect(tmp_path / "data" / "intermolt.db") as database:
        rows = database.execute("SELECT probe, time_ms / 1000 FROM reading JOIN channel ON id = channel").fetchall()
    database.close()
    for number, sender in enumerate(senders):
        assert len(sender.accepted) > 500
        assert set(sender.accepted) <= {time_s for probe, time_s in rows if probe == f"p{number}"}


def test_the_collector_ends_in_order_under_load(tmp_path: Path) -> None:
    """Fifty probes that never stop talking, a service and a watcher that hang: ended in time, all kept on the disk."""
    with ExitStack() as stack:
        service = stack.enter_context(deaf())
        text = '[room]\nname = "Stop room"\nzone = "UTC"\n'
        text += f'[room.heartbeat]\nurl = "http://127.0.0.1:{service}/"\n'
        ports = []
        for number in range(PROBES):
            ports.append(stack.enter_context(closing(Port(tmp_path / f"p{number}"))))
            text += f'[[probe]]\nid = "p{number}"\ndriver = "serial_lines"\nport = "{tmp_path / f"p{number}"}"\n'
            text += 'every_s = 1\n[[probe.value]]\nquantity = "level"\nunit = "cm"\n'
        (tmp_path / "room.toml").write_text(text, encoding="utf-8")
        (tmp_path / "data").mkdir()
        (tmp_path / "data" / "collector.token").write_text("any\n", encoding="utf-8")
        collector = stack.enter_context(started(tmp_path, "collector", "--service", f"http://127.0.0.1:{service}"))
        said = [0] * PROBES
        stop = threading.Event()

        def speak() -> None:
            while not stop.wait(0.02):
                for number, port in enumerate(ports):
                    said[number] += port.write(f"{said[number]}\n".encode())

        speaker = threading.Thread(target=speak)
        speaker.start()
        time.sleep(7.0)  # the uplink, the reports and the heartbeat have begun to wait
        before = list(said)
        took_s = stop_s(collector)
        stop.set()
        speaker.join()
    print(f"ended in {took_s:.1f} s; {sum(before)} lines were said\n{(tmp_path / 'log').read_text()[-300:]}")
    assert collector.returncode == 0
    assert took_s < STOPS_WITHIN_S
    spool = Spool(tmp_path / "data" / NAME)
    kept: dict[str, list[float]] = {}
    for _, reading in spool.take(1_000_000).rows:
        kept.setdefault(reading.probe, []).append(reading.value)
    spool.close()
    for number, count in enumerate(before):
        values = kept[f"p{number}"]
        assert values == [float(n) for n in range(len(values))]
        assert len(values) >= count - 20
        assert count > 100
