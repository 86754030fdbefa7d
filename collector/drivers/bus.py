"""One port that several probes share: opened once, used in turns, closed when the last probe leaves.

Must not do: know what is asked or answered, or let one silent probe take the port from the others.

The manual, for a driver whose probes may share a port (every call from the driver's own thread):

    def open(self):
        line = SerialPort(self.probe.id, self.options, self.around.folder)       # made, not opened
        self._seat = join(self.probe.id, line, key, "poll 9600 8N1")             # opens it, or joins who has it open
    def read(self, wait_s):
        if not self._seat.take(wait_s):       # another probe is talking; come back in the next read
            return EMPTY
        try:
            self._seat.quiet(0.02, 1.0)       # throw away what nobody asked for
            self._seat.write(question, timeout_s)
            answer = self._seat.read(timeout_s)
        finally:
            self._seat.give_back()
    def close(self):
        if self._seat is not None:
            self._seat.leave()                # also gives back; may be called twice

* ``key`` names the port in the world: ``str(Path(name).resolve())`` for a serial port, ``"host:502"`` for a network.
* ``settings`` is what all probes of the port must agree on: the driver's kind, baud, parity. Two texts that differ are
  PortTrouble (settings) for the one who comes second. So all seats of a port also have the same class of line.
* Turns go in the order of asking. A turn may be held over several ``read`` of a driver, but nobody else can talk then.
* A probe that does not answer just leaves; the port stays with the others. A port that fails (PortTrouble out of
  ``read`` or ``write``) is closed at once for everybody: each seat's next call raises PortTrouble, and who joins
  afterwards opens it anew. The same happens when a probe leaves a port on which for ``FRUITLESS`` turns nothing at all
  was heard.
"""

from __future__ import annotations

import threading
import time
from collections import deque
from typing import Protocol

from collector.errors import PortReason, PortTrouble

FRUITLESS = 10
"""Turns in a row in which not one byte came, after which a leaving probe has the port opened anew for all."""
LET_GO = "it was closed because it had failed for another probe; it is opened anew"


class Line(Protocol):
    """What a bus needs of a port; ``SerialPort`` is one."""

    name: str

    def open(self) -> None:
        """Open it. Raises PortTrouble."""

    def read(self, wait_s: float) -> bytes:
        """What comes within ``wait_s``. Raises PortTrouble."""

    def write(self, data: bytes, timeout_s: float) -> None:
        """Send all of ``data``. Raises PortTrouble."""

    def close(self) -> None:
        """Let go of it; never raises."""


class _Bus:
    """One open port and the seats on it. ``_turn`` guards everything but the line, which the turn's owner has alone."""

    def __init__(self, key: str, line: Line, settings: str, owner: str) -> None:
        self.key, self.line, self.settings, self.first = key, line, settings, owner
        self.lock = threading.Condition()
        self.seats: set[Seat] = set()
        self.queue: deque[Seat] = deque()
        self.opened = False
        self.ended = False
        self.fruitless = 0

    def end(self) -> None:
        """Close the port for everybody. The caller has the lock."""
        with _table_lock:
            if _table.get(self.key) is self:
                del _table[self.key]
        self.ended = True
        self.line.close()
        self.lock.notify_all()


_table: dict[str, _Bus] = {}
_table_lock = threading.Lock()


class Seat:
    """One probe's place at a shared port."""

    def __init__(self, probe: str, bus: _Bus) -> None:
        self.probe, self._bus = probe, bus
        self._mine = False
        self._heard = False

    @property
    def line(self) -> Line:
        """The port itself, which is the one of who opened it."""
        return self._bus.line

    def take(self, wait_s: float) -> bool:
        """Wait for the turn, no longer than ``wait_s``; whether it has come, or was there already.

        Raises PortTrouble when the port has gone.
        """
        bus, end_s = self._bus, time.monotonic() + wait_s
        with bus.lock:
            self._alive()
            if self._mine:
                return True
            bus.queue.append(self)
            # a seat that stops waiting leaves the queue: nobody waits behind one who is not there
            while bus.queue[0] is not self and not bus.ended and (left_s := end_s - time.monotonic()) > 0:
                bus.lock.wait(left_s)
            self._mine = bus.queue[0] is self and not bus.ended
            if not self._mine:
                bus.queue.remove(self)
            self._alive()
        self._heard = False
        return self._mine

    def give_back(self, asked: bool = True) -> None:
        """End the turn; does nothing when it is another's. ``asked`` False: nothing was, so silence means nothing."""
        bus = self._bus
        with bus.lock:
            if self._mine:
                self._mine = False
                bus.queue.remove(self)
                bus.fruitless = 0 if self._heard else bus.fruitless + asked
                bus.lock.notify_all()

    def read(self, wait_s: float) -> bytes:
        """What comes within ``wait_s``; only in one's turn.

        Raises PortTrouble when the port has gone.
        """
        self._talking()
        try:
            data = self._bus.line.read(wait_s)
        except PortTrouble as error:
            raise self._broken(error) from error
        self._heard = self._heard or bool(data)
        return data

    def write(self, data: bytes, timeout_s: float) -> None:
        """Send all of ``data``; only in one's turn.

        Raises PortTrouble when the port has gone or takes nothing.
        """
        self._talking()
        try:
            self._bus.line.write(data, timeout_s)
        except PortTrouble as error:
            raise self._broken(error) from error

    def quiet(self, for_s: float, most_s: float) -> bool:
        """Throw away what comes until nothing has come for ``for_s``; False when that took longer than ``most_s``.

        Raises PortTrouble when the port has gone.
        """
        end_s = time.monotonic() + most_s
        while self.read(for_s):
            if time.monotonic() >= end_s:
                return False
        return True

    def leave(self) -> None:
        """Give back the turn and go; the last one closes the port. Never raises."""
        self.give_back()
        bus = self._bus
        with bus.lock:
            bus.seats.discard(self)
            talking = bool(bus.queue) and bus.queue[0]._mine
            if not bus.ended and not talking and (not bus.seats or bus.fruitless >= FRUITLESS):
                bus.end()

    def broken(self, reason: PortReason, what: str) -> PortTrouble:
        """The error to raise when the port is of no use any more to anybody, which closes it for all."""
        return self._broken(PortTrouble(self.probe, self._bus.line.name, reason, what))

    def _broken(self, error: PortTrouble) -> PortTrouble:
        with self._bus.lock:
            if not self._bus.ended:
                self._bus.end()
        return PortTrouble(self.probe, error.port, error.reason, error.what)

    def _alive(self) -> None:
        if self._bus.ended:
            raise PortTrouble(self.probe, self._bus.line.name, PortReason.UNPLUGGED, LET_GO)

    def _talking(self) -> None:
        if not self._mine:
            raise RuntimeError(f"{self.probe} talks on {self._bus.line.name} out of turn")
        with self._bus.lock:
            self._alive()


def join(probe: str, line: Line, key: str, settings: str) -> Seat:
    """A seat at the port called ``key``: its owner's when someone has it open, else ``line``, which is opened now.

    Raises PortTrouble when it cannot be opened, or is open with other settings.
    """
    while True:
        with _table_lock:
            bus = _table.setdefault(key, _Bus(key, line, settings, probe))
        with bus.lock:
            if bus.ended:
                continue
            if bus.settings != settings:
                what = (
                    f"probe {bus.first!r} shares it as {bus.settings!r}, this one asks for {settings!r}: "
                    "write the same driver and the same port settings in both tables"
                )
                raise PortTrouble(probe, line.name, PortReason.SETTINGS, what)
            if not bus.opened:
                try:
                    bus.line.open()
                except PortTrouble as error:
                    bus.end()
                    raise PortTrouble(probe, error.port, error.reason, error.what) from error
                bus.opened = True
            seat = Seat(probe, bus)
            bus.seats.add(seat)
            return seat
