"""Modbus probes: the library's own server as the reference, and one of our own that can misbehave.

Ours is written against the application protocol from memory. Must not do: use anything of the collector.
"""

from __future__ import annotations

import asyncio
import socket
import threading
from collections.abc import Callable, Iterable
from types import TracebackType

from pymodbus.server import ModbusSerialServer, ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

from tests.bench.rooms import free_port
from tests.support.serial_line import SerialLine

Mangle = Callable[[bytes, bytes], Iterable[bytes]]
"""Request and right answer, both whole frames, to the pieces that are sent instead."""


def check_bytes(frame: bytes) -> bytes:
    """The check, by long division: bits of each byte from the lowest, the first 16 inverted (it starts as all ones)."""
    bits = "".join(f"{byte:08b}"[::-1] for byte in frame)
    bits = "".join("10"[int(bit)] for bit in bits[:16]) + bits[16:] + "0" * 16
    remainder = 0
    for bit in bits:
        remainder = (remainder << 1) | int(bit)
        if remainder & 0x10000:
            remainder ^= 0x18005
    return int(f"{remainder:016b}"[::-1], 2).to_bytes(2, "little")


class Device:
    """One device: registers by function and address; ``says`` may answer with an exception code first of all."""

    def __init__(self, registers: dict[tuple[int, int], int]) -> None:
        self.registers = registers
        self.fault: int | None = None
        self.silent = False

    def answer(self, pdu: bytes) -> bytes:
        """Function and data of a request to those of its answer; empty: silence."""
        function, first, count = pdu[0], int.from_bytes(pdu[1:3], "big"), int.from_bytes(pdu[3:5], "big")
        if self.silent:
            return b""
        if self.fault is not None:
            return bytes((function | 0x80, self.fault))
        if function not in {known for known, _ in self.registers}:
            return bytes((function | 0x80, 1))
        if not 1 <= count <= 125:
            return bytes((function | 0x80, 3))
        words = [self.registers.get((function, address)) for address in range(first, first + count)]
        if None in words:
            return bytes((function | 0x80, 2))
        return bytes((function, 2 * count)) + b"".join((word or 0).to_bytes(2, "big") for word in words)


class RtuProbe:
    """Devices of our own on one serial line, on a thread."""

    def __init__(self, line: SerialLine, devices: dict[int, Device]) -> None:
        self.line, self.devices = line, devices
        self.requests: list[bytes] = []
        self.mangle: Mangle = lambda request, answer: [answer]
        self.echo = False
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="modbus devices", daemon=True)

    def _run(self) -> None:
        heard = b""
        while not self._stop.is_set():
            heard += self.line.hear(8 - len(heard), 0.005)
            if len(heard) == 8:
                if check_bytes(heard[:6]) == heard[6:]:
                    self._react(heard)
                heard = b""

    def _react(self, request: bytes) -> None:
        self.requests.append(request)
        if self.echo:
            self.line.say(request)
        device = self.devices.get(request[0])
        pdu = b"" if device is None else device.answer(request[1:6])
        frame = request[:1] + pdu
        for piece in self.mangle(request, frame + check_bytes(frame) if pdu else b""):
            if piece and not self._stop.is_set():
                self.line.say(piece)

    def __enter__(self) -> RtuProbe:
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._stop.set()
        self._thread.join()


class TcpProbe:
    """Devices of our own behind a loopback port, one connection at a time."""

    def __init__(self, devices: dict[int, Device]) -> None:
        self.devices = devices
        self.connections = 0
        self.mangle: Mangle = lambda request, answer: [answer]
        self._stop = threading.Event()
        self._server = socket.create_server(("127.0.0.1", 0))
        self._server.settimeout(0.02)
        self.port: int = self._server.getsockname()[1]
        self._thread = threading.Thread(target=self._run, name="modbus gateway", daemon=True)

    def _run(self) -> None:
        while not self._stop.is_set():
            try:
                peer, _ = self._server.accept()
            except TimeoutError:
                continue
            self.connections += 1
            with peer:
                peer.settimeout(0.02)
                self._serve(peer)

    def _serve(self, peer: socket.socket) -> None:
        while not self._stop.is_set():
            try:
                request = peer.recv(12)
                if not request:
                    return
                device = self.devices.get(request[6])
                pdu = b"" if device is None else device.answer(request[7:12])
                answer = request[:4] + (len(pdu) + 1).to_bytes(2, "big") + request[6:7] + pdu if pdu else b""
                for piece in self.mangle(request, answer):
                    peer.sendall(piece)
            except TimeoutError:
                continue
            except OSError:
                return

    def __enter__(self) -> TcpProbe:
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._stop.set()
        self._thread.join()
        self._server.close()


class CrossedLines:
    """Two pseudo-terminals with their far ends joined, so that a server can open one and the driver the other."""

    def __init__(self, driver: SerialLine, server: SerialLine) -> None:
        self._pairs = ((driver, server), (server, driver))
        self._stop = threading.Event()
        self._threads = [threading.Thread(target=self._carry, args=pair, daemon=True) for pair in self._pairs]

    def _carry(self, source: SerialLine, target: SerialLine) -> None:
        while not self._stop.is_set():
            if data := source.hear(1, 0.02):
                target.say(data)

    def __enter__(self) -> CrossedLines:
        for thread in self._threads:
            thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._stop.set()
        for thread in self._threads:
            thread.join()


class ReferenceServer:
    """The library's server on a loopback port, or on the serial port called ``serial``."""

    def __init__(self, devices: list[SimDevice], serial: str | None = None) -> None:
        self.port = free_port()
        self._devices, self._serial = devices, serial
        self._loop = asyncio.new_event_loop()
        self._ready = threading.Event()
        self._server: ModbusSerialServer | ModbusTcpServer | None = None
        self._thread = threading.Thread(target=self._loop.run_forever, name="modbus reference", daemon=True)

    async def _start(self) -> None:
        if self._serial is None:
            self._server = ModbusTcpServer(self._devices, address=("127.0.0.1", self.port))
        else:
            self._server = ModbusSerialServer(self._devices, port=self._serial, baudrate=19200)
        await self._server.serve_forever(background=True)

    async def _shut(self) -> None:
        if self._server is not None:
            await self._server.shutdown()  # type: ignore[no-untyped-call]
        # the transports close in the loop's next turns
        await asyncio.sleep(0.05)

    def __enter__(self) -> ReferenceServer:
        self._thread.start()
        asyncio.run_coroutine_threadsafe(self._start(), self._loop).result(5.0)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        asyncio.run_coroutine_threadsafe(self._shut(), self._loop).result(5.0)
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join()
        self._loop.close()


def reference_device(number: int, holding: list[SimData], inputs: list[SimData] | None = None) -> SimDevice:
    """A device of the library with registers of its own for function 3 and 4."""
    none = [SimData(0, values=False, datatype=DataType.BITS)]
    other = inputs or [SimData(60_000, values=0, datatype=DataType.REGISTERS)]
    return SimDevice(number, simdata=(none, none, holding, other))
