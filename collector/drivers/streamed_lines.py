"""Lines of probes that speak by themselves; several probes may listen on one port.

Must not do: understand a line, or keep one from another probe.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from api.domain.tank import Probe
from collector.drivers.base import Surroundings
from collector.drivers.bus import Seat, join
from collector.drivers.stream_port import KEEP_S, Heard, Listener, StreamPort
from collector.errors import PortReason, PortTrouble

TRIAL_KEEP_S = 1.0


class StreamedLines:
    """One probe's way to its lines."""

    def __init__(
        self,
        probe: Probe,
        options: Mapping[str, Any],
        around: Surroundings,
        form: str,
        wants: Callable[[bytes], bool],
    ) -> None:
        self._probe, self._options, self._around, self._form = probe, options, around, form
        self._listener = Listener(probe.id, wants)
        self.name = str(around.folder / options["port"])
        self._seat: Seat | None = None
        self._port: StreamPort | None = None

    def open(self) -> None:
        """Open the port, or join the probes that have it open.

        Raises PortTrouble.
        """
        around, keep_s = self._around, TRIAL_KEEP_S if self._around.trial else KEEP_S
        port = StreamPort(self._probe.id, self._options, around.folder, around.monotonic, keep_s)
        self._seat = join(self._probe.id, port, str(Path(self.name).resolve()), self._form)
        line = self._seat.line
        if not isinstance(line, StreamPort):
            raise TypeError(f"{line!r} is no port for lines")
        self._port = line
        line.listen(self._listener)

    def hear(self, wait_s: float) -> list[Heard]:
        """What has come, waiting no longer than ``wait_s``.

        Raises PortTrouble when the port has gone.
        """
        seat, port = self._opened()
        end_s = self._around.monotonic() + wait_s
        if found := port.take(self._listener):
            return found
        if seat.take(wait_s):
            # whoever has the turn reads for all; one who finds a line of its own passes the turn on at once
            try:
                if found := port.take(self._listener):
                    return found
                data = seat.read(max(0.0, end_s - self._around.monotonic()))
                port.hear(data, self._around.now_ms())
            finally:
                seat.give_back(asked=False)
        return port.take(self._listener)

    def answered(self) -> None:
        """Nothing to do: nobody was asked."""

    def write(self, data: bytes, timeout_s: float) -> None:
        """Say something to the probe.

        Raises PortTrouble when the port has gone or takes nothing.
        """
        seat, _ = self._opened()
        if not seat.take(timeout_s):
            raise PortTrouble(self._probe.id, self.name, PortReason.STUCK, f"was not free for {timeout_s:g} s")
        try:
            seat.write(data, timeout_s)
        finally:
            seat.give_back(asked=False)

    def _opened(self) -> tuple[Seat, StreamPort]:
        if self._seat is None or self._port is None:
            raise PortTrouble(self._probe.id, self.name, PortReason.UNPLUGGED, "it is not open")
        return self._seat, self._port

    def close(self) -> None:
        """Leave the port."""
        seat, self._seat = self._seat, None
        port, self._port = self._port, None
        if port is not None:
            port.forget(self._listener)
            port.take(self._listener)
        if seat is not None:
            seat.leave()
