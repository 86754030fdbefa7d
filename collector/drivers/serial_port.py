"""One serial port: open, bytes in, bytes out, and every way it can fail as ``PortTrouble``.

Must not do: know lines or values, or throw away bytes that wait on the line.
"""

from __future__ import annotations

import errno
import os
import select
import termios
import time
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import serial

from collector.errors import PortReason, PortTrouble

PARITIES = {
    "none": serial.PARITY_NONE,
    "even": serial.PARITY_EVEN,
    "odd": serial.PARITY_ODD,
    "mark": serial.PARITY_MARK,
    "space": serial.PARITY_SPACE,
}
READ_BYTES = 4096
ADVICE = {
    PortReason.MISSING: "there is no such port; is the probe plugged in?",
    PortReason.REFUSED: "not allowed to open it; add the collector's user to the group that owns it (often dialout)",
    PortReason.BUSY: "another program is using it",
    PortReason.UNPLUGGED: "the probe was unplugged",
    PortReason.SETTINGS: "the port does not take these settings",
}
REASONS = {
    errno.ENOENT: PortReason.MISSING,
    errno.ENXIO: PortReason.MISSING,
    errno.ENODEV: PortReason.MISSING,
    errno.EACCES: PortReason.REFUSED,
    errno.EPERM: PortReason.REFUSED,
    errno.EBUSY: PortReason.BUSY,
    errno.EAGAIN: PortReason.BUSY,
    errno.EIO: PortReason.UNPLUGGED,
}


class _KeepingSerial(serial.Serial):
    """pyserial's port, whose ``open`` would throw away bytes that already wait on the line."""

    def _reset_input_buffer(self) -> None:
        """Called by ``open``; deliberately nothing: a line that arrived before we did is a reading all the same."""


class SerialPort:
    """A port by name, relative ones beside the room file. A name that is a link is followed anew at each opening."""

    def __init__(self, probe: str, options: Mapping[str, Any], folder: Path) -> None:
        self.probe, self.name = probe, str(folder / options["port"])
        self._options = options
        self._serial: _KeepingSerial | None = None
        self._poll = select.poll()
        self.pseudo = False

    def open(self) -> None:
        """Open and set up the port.

        Raises PortTrouble.
        """
        path = str(Path(self.name).resolve())
        self.pseudo = path.startswith("/dev/pts/")
        port = _KeepingSerial()
        try:
            port.port = path
            port.baudrate = self._options["baud"]
            port.bytesize = self._options["bits"]
            port.parity = PARITIES[self._options["parity"]]
            port.stopbits = self._options["stop_bits"]
            port.exclusive = True
            port.open()
        except (OSError, ValueError, termios.error) as error:
            port.close()
            raise self._open_trouble(error) from error
        self._serial = port
        self._poll = select.poll()
        self._poll.register(port.fileno(), select.POLLIN)

    def _open_trouble(self, error: Exception) -> PortTrouble:
        number = getattr(error, "errno", None)
        if number is None and error.args and isinstance(error.args[0], int):
            number = error.args[0]
        default = PortReason.BUSY if "lock" in str(error) else PortReason.SETTINGS
        reason = REASONS.get(number, default) if number is not None else default
        detail = f" ({error})" if reason is PortReason.SETTINGS else ""
        return PortTrouble(self.probe, self.name, reason, ADVICE[reason] + detail)

    def read(self, wait_s: float) -> bytes:
        """What comes within ``wait_s``; empty when nothing does.

        Raises PortTrouble when the port has gone.
        """
        fd = self._fd()
        if not self._poll.poll(max(0.0, wait_s) * 1000):
            return b""
        try:
            data = os.read(fd, READ_BYTES)
        except BlockingIOError:
            return b""
        except OSError as error:
            raise self._gone() from error
        if not data:
            # a port that is ready and gives nothing is one that has been pulled out
            raise self._gone()
        return data

    def write(self, data: bytes, timeout_s: float) -> None:
        """Send all of ``data``.

        Raises PortTrouble when the port has gone or takes nothing for ``timeout_s``.
        """
        fd = self._fd()
        ready = select.poll()
        ready.register(fd, select.POLLOUT)
        end_s = time.monotonic() + timeout_s
        while data:
            left_s = end_s - time.monotonic()
            if left_s <= 0 or not ready.poll(left_s * 1000):
                raise PortTrouble(self.probe, self.name, PortReason.STUCK, f"took nothing for {timeout_s:g} s")
            try:
                data = data[os.write(fd, data) :]
            except BlockingIOError:
                continue
            except OSError as error:
                raise self._gone() from error

    def close(self) -> None:
        """Let go of the port; never raises."""
        port, self._serial = self._serial, None
        if port is not None:
            try:
                port.close()
            except (OSError, termios.error):
                pass  # the port is gone already, which is what was wanted

    def _fd(self) -> int:
        if self._serial is None:
            raise self._gone()
        return int(self._serial.fileno())

    def _gone(self) -> PortTrouble:
        return PortTrouble(self.probe, self.name, PortReason.UNPLUGGED, ADVICE[PortReason.UNPLUGGED])
