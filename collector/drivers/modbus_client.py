"""The library's Modbus clients on a shared port: it writes the requests and reads the answers, the bytes go our way.

Must not do: hand the library anything but the one whole frame that fits its request, or let it open, retry or log.

The library's own sending and receiving is replaced, because it takes any frame of the device for the answer, keeps
what a TCP peer sends without a limit, and hides why a port does not open.
"""

from __future__ import annotations

import time

from pymodbus import FramerType
from pymodbus.client import ModbusSerialClient, ModbusTcpClient
from pymodbus.exceptions import ModbusException
from pymodbus.pdu import ModbusPDU

from collector.codecs.modbus_frames import NotModbus, RtuAnswer, TcpAnswer
from collector.codecs.registers import Block, exception_words
from collector.drivers.bus import Seat
from collector.errors import PortReason

NUMBERS = 60_000


class NoAnswer(Exception):
    """No usable answer within the timeout; ``heard`` says what came instead, empty when nothing did."""

    def __init__(self, heard: str) -> None:
        self.heard = heard
        super().__init__(heard or "no answer")


class Refused(Exception):
    """The probe's own word that it will not, with what to do."""


class RtuClient(ModbusSerialClient):
    """Modbus RTU on a seat; ``gap_s`` is the silence before a request."""

    def __init__(self, seat: Seat, timeout_s: float, gap_s: float) -> None:
        super().__init__("shared", framer=FramerType.RTU, timeout=timeout_s, retries=0)
        self._seat, self._timeout_s, self._gap_s = seat, timeout_s, gap_s
        self._answer: RtuAnswer | None = None

    def connect(self) -> bool:
        """The seat is connected."""
        return True

    def close(self) -> None:
        """The seat is left by its driver."""

    def send(self, request: bytes, addr: tuple[str, int] | None = None) -> int:
        """Send a request into silence."""
        self._seat.quiet(self._gap_s, self._timeout_s)
        self._answer = RtuAnswer(request)
        self._seat.write(request, self._timeout_s)
        return len(request)

    def recv(self, size: int | None) -> bytes:
        """The answer.

        Raises NoAnswer.
        """
        answer, end_s = self._answer, time.monotonic() + self._timeout_s
        if answer is None:
            raise NoAnswer("")
        while (left_s := end_s - time.monotonic()) > 0:
            if frame := answer.feed(self._seat.read(left_s)):
                return frame
        raise NoAnswer(answer.heard)

    def settle(self) -> None:
        """Wait for an answer that may still be under way, so that nobody takes it for his."""
        self._seat.quiet(self._timeout_s, 2 * self._timeout_s)


class TcpClient(ModbusTcpClient):
    """Modbus TCP on a seat; ``first`` is where its requests begin to be numbered, apart from those of other seats."""

    def __init__(self, seat: Seat, timeout_s: float, first: int) -> None:
        super().__init__("shared", framer=FramerType.SOCKET, timeout=timeout_s, retries=0)
        self._seat, self._timeout_s = seat, timeout_s
        self._answer: TcpAnswer | None = None
        self.transaction.next_tid = first % NUMBERS

    def connect(self) -> bool:
        """The seat is connected."""
        return True

    def close(self) -> None:
        """The seat is left by its driver."""

    def send(self, request: bytes, addr: tuple[str, int] | None = None) -> int:
        """Send a request."""
        self._answer = TcpAnswer(request)
        self._seat.write(request, self._timeout_s)
        return len(request)

    def recv(self, size: int | None) -> bytes:
        """The answer.

        Raises NoAnswer, and PortTrouble when the connection is of no use any more.
        """
        answer, end_s = self._answer, time.monotonic() + self._timeout_s
        if answer is None:
            raise NoAnswer("")
        try:
            while (left_s := end_s - time.monotonic()) > 0:
                if frame := answer.feed(self._seat.read(left_s)):
                    return frame
        except NotModbus as error:
            raise self._seat.broken(PortReason.SETTINGS, f"{error}; the connection is made anew") from error
        if answer.half:
            raise self._seat.broken(PortReason.STUCK, "stopped in the middle of an answer; the connection is made anew")
        raise NoAnswer(answer.heard)

    def settle(self) -> None:
        """Nothing to wait for: a late answer is known by its number."""


def registers(client: RtuClient | TcpClient, device: int, block: Block) -> list[int]:
    """The registers of one block, asked for once.

    Raises NoAnswer, Refused, and PortTrouble when the port has gone.
    """
    ask = client.read_holding_registers if block.function == 3 else client.read_input_registers
    try:
        answer: ModbusPDU = ask(block.address, count=block.count, device_id=device)
    except ModbusException as error:
        raise NoAnswer(f"an answer that cannot be read: {error}") from error
    if answer.isError():
        raise Refused(exception_words(answer.exception_code, device, block))
    if answer.function_code != block.function or len(answer.registers) != block.count:
        raise NoAnswer(f"{len(answer.registers)} registers came, {block.count} were asked for")
    return list(answer.registers)
