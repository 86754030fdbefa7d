"""A real MQTT broker on a loopback port: started, killed, started again; with passwords and TLS when wanted.

Must not do: stop anything it did not start.
"""

from __future__ import annotations

import shutil
import signal
import socket
import subprocess
import time
from pathlib import Path
from types import TracebackType

from tests.bench.rooms import free_port

PROGRAM = shutil.which("mosquitto") or "/usr/sbin/mosquitto"


class Mosquitto:
    """Use as a context. ``extra`` are lines for its configuration file."""

    def __init__(self, folder: Path, port: int = 0, extra: str = "", users: dict[str, str] | None = None) -> None:
        self.folder = folder
        self.port = port or free_port()
        folder.mkdir(parents=True, exist_ok=True)
        lines = [f"listener {self.port} 127.0.0.1", "user root", "persistence false", extra]
        if users:
            lines += [f"password_file {self._passwords(users)}", "allow_anonymous false"]
        else:
            lines += ["allow_anonymous true"]
        self._conf = folder / "mosquitto.conf"
        self._conf.write_text("\n".join(lines) + "\n", encoding="utf-8")
        self._process: subprocess.Popen[bytes] | None = None

    def _passwords(self, users: dict[str, str]) -> Path:
        path = self.folder / "passwords"
        path.write_text("".join(f"{name}:{word}\n" for name, word in users.items()), encoding="utf-8")
        subprocess.run(["mosquitto_passwd", "-U", str(path)], check=True)
        return path

    def start(self) -> None:
        """Start it and wait until it listens."""
        with (self.folder / "mosquitto.log").open("ab") as log:
            self._process = subprocess.Popen([PROGRAM, "-c", str(self._conf)], stdout=log, stderr=log)
        end_s = time.monotonic() + 10
        while time.monotonic() < end_s:
            try:
                socket.create_connection(("127.0.0.1", self.port), 1).close()
                return
            except OSError:
                time.sleep(0.02)
        raise RuntimeError(f"the broker did not start: {(self.folder / 'mosquitto.log').read_text()}")

    def kill(self) -> None:
        """End it as a power cut would: kill -9; what it held in memory is gone."""
        if self._process is not None:
            self._process.send_signal(signal.SIGKILL)
            self._process.wait(10)
            self._process = None

    def __enter__(self) -> Mosquitto:
        self.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.kill()


def certificates(folder: Path) -> tuple[Path, Path, Path]:
    """A certificate authority of our own and a server's certificate for localhost: (authority, certificate, key)."""
    folder.mkdir(parents=True, exist_ok=True)
    authority, certificate, key = folder / "authority.pem", folder / "server.pem", folder / "server.key"
    new = ["openssl", "req", "-newkey", "rsa:2048", "-nodes", "-batch", "-days", "2"]
    ca_key, request, names = folder / "authority.key", folder / "server.csr", folder / "names"
    names.write_text("subjectAltName=DNS:localhost,IP:127.0.0.1\n", encoding="ascii")
    for command in (
        [*new, "-x509", "-subj", "/CN=Trial authority", "-keyout", str(ca_key), "-out", str(authority)],
        [*new[:-2], "-subj", "/CN=localhost", "-keyout", str(key), "-out", str(request)],
        ["openssl", "x509", "-req", "-in", str(request), "-CA", str(authority), "-CAkey", str(ca_key),
         "-CAcreateserial", "-days", "2", "-extfile", str(names), "-out", str(certificate)],
    ):  # fmt: skip
        subprocess.run(command, check=True, capture_output=True)
    return authority, certificate, key
