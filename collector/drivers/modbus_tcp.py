"""One network connection to a Modbus TCP probe or gateway: open, bytes in, bytes out, every failure as ``PortTrouble``.

Must not do: know Modbus.
"""

from __future__ import annotations

import select
import socket
import time

from collector.errors import PortReason, PortTrouble

READ_BYTES = 4096
PULLED = "the connection was closed from the other side; does it allow another client, is the cable in?"


class TcpPort:
    """A connection by host and port, made anew at each ``open``."""

    def __init__(self, probe: str, host: str, port: int, timeout_s: float) -> None:
        self.probe, self.name = probe, f"{host}:{port}"
        self._address, self._timeout_s = (host, port), timeout_s
        self._socket: socket.socket | None = None

    def open(self) -> None:
        """Connect.

        Raises PortTrouble.
        """
        try:
            connected = socket.create_connection(self._address, self._timeout_s)
        except socket.gaierror as error:
            raise self._trouble(
                PortReason.MISSING, f"no such host is known ({error.strerror}); write its address"
            ) from error
        except TimeoutError as error:
            what = f"no connection within {self._timeout_s:g} s; is it switched on, is the address right?"
            raise self._trouble(PortReason.MISSING, what) from error
        except OSError as error:
            what = f"no connection ({error.strerror or error}); are address and tcp_port right, is it switched on?"
            raise self._trouble(PortReason.MISSING, what) from error
        connected.setblocking(False)
        connected.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._socket = connected

    def read(self, wait_s: float) -> bytes:
        """What comes within ``wait_s``; empty when nothing does.

        Raises PortTrouble when the connection has gone.
        """
        connected = self._open()
        if not self._ready(connected, select.POLLIN, wait_s):
            return b""
        try:
            data = connected.recv(READ_BYTES)
        except BlockingIOError:
            return b""
        except OSError as error:
            raise self._trouble(PortReason.UNPLUGGED, PULLED) from error
        if not data:
            raise self._trouble(PortReason.UNPLUGGED, PULLED)
        return data

    def write(self, data: bytes, timeout_s: float) -> None:
        """Send all of ``data``.

        Raises PortTrouble when the connection has gone or takes nothing for ``timeout_s``.
        """
        connected, end_s = self._open(), time.monotonic() + timeout_s
        while data:
            left_s = end_s - time.monotonic()
            if left_s <= 0 or not self._ready(connected, select.POLLOUT, left_s):
                raise self._trouble(PortReason.STUCK, f"took nothing for {timeout_s:g} s")
            try:
                data = data[connected.send(data) :]
            except BlockingIOError:
                continue
            except OSError as error:
                raise self._trouble(PortReason.UNPLUGGED, PULLED) from error

    def close(self) -> None:
        """Hang up; never raises."""
        connected, self._socket = self._socket, None
        if connected is not None:
            connected.close()

    def _open(self) -> socket.socket:
        if self._socket is None:
            raise self._trouble(PortReason.UNPLUGGED, "it is not open")
        return self._socket

    def _ready(self, connected: socket.socket, event: int, wait_s: float) -> bool:
        # not select(): two hundred probes may need more than its 1024 numbers
        poll = select.poll()
        poll.register(connected.fileno(), event)
        return bool(poll.poll(max(0.0, wait_s) * 1000))

    def _trouble(self, reason: PortReason, what: str) -> PortTrouble:
        return PortTrouble(self.probe, self.name, reason, what)
