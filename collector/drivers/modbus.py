"""Modbus probes: RTU on a serial line or TCP on a network, registers to values; several devices may share the way.

Must not do: write to a register, or keep a value of an answer that does not fit its request.

Registers that adjoin are read in one request (125 at most), so that all values of a probe are of one moment. A value
is what the registers say, times ``scale``, plus ``offset``. Requests and answers are those of the Modbus application
protocol v1.1b3, sections 6.3 and 6.4; on a serial line 3.5 letters of silence stand before each (section 2.5.1.1 of
Modbus over serial line v1.02: at least 1.75 ms above 19200 baud). Sections are named from memory.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any, ClassVar
from zlib import crc32

from api.domain.reading import RawReading
from api.domain.tables import Key, Place
from api.domain.tank import Probe
from collector.codecs.registers import Block, blocks, taken
from collector.drivers.base import EMPTY, Batch, Driver, Surroundings
from collector.drivers.bus import Line, Seat, join
from collector.drivers.modbus_client import NoAnswer, Refused, RtuClient, TcpClient, registers
from collector.drivers.modbus_keys import KEYS, VALUE_KEYS, check_keys, register_of
from collector.drivers.modbus_tcp import TcpPort
from collector.drivers.serial_port import SerialPort
from collector.errors import PortReason, PortTrouble
from collector.schedule import Schedule

UNANSWERED_LIMIT = 5
"""Polls in a row without a sign of life after which the probe is reported and the port joined anew."""
GAP_LETTERS = 3.5
LETTER_BITS = 11
LEAST_GAP_S = 0.00175


class Modbus(Driver):
    """One device and its registers."""

    KEYS: ClassVar[tuple[Key, ...]] = KEYS
    VALUE_KEYS: ClassVar[tuple[Key, ...]] = VALUE_KEYS

    def __init__(self, probe: Probe, options: Mapping[str, Any], around: Surroundings) -> None:
        super().__init__(probe, options, around)
        self._registers = [(value, register_of(value, options)) for value in probe.values]
        self._blocks = blocks([register for _, register in self._registers])
        self._seat: Seat | None = None
        self._client: RtuClient | TcpClient | None = None
        self._schedule: Schedule | None = None
        self._unanswered = 0
        self._begin(())

    @classmethod
    def check(cls, probe: Probe, options: Mapping[str, Any], place: Place) -> None:
        """Check the way to the probe and the registers of its values.

        Raises RoomFileError.
        """
        check_keys(probe, options, place)

    @classmethod
    def shared(cls, options: Mapping[str, Any], folder: Path) -> tuple[str, str]:
        """The port or host that several probes may name, and what all of them must agree on."""
        if options["host"] is not None:
            return f"{options['host']}:{options['tcp_port']}", "modbus tcp"
        form = "modbus {baud} baud {parity} {stop_bits:g} stop".format(**options)
        return str((folder / options["port"]).resolve()), form

    def open(self) -> None:
        """Open the line or the connection, or join the devices that have it open."""
        options, timeout_s = self.options, self.options["timeout_s"]
        key, form = self.shared(options, self.around.folder)
        if options["host"] is not None:
            line: Line = TcpPort(self.probe.id, options["host"], options["tcp_port"], timeout_s)
            self._seat = join(self.probe.id, line, key, form)
            self._client = TcpClient(self._seat, timeout_s, crc32(self.probe.id.encode()))
        else:
            line = SerialPort(self.probe.id, {**options, "bits": 8}, self.around.folder)
            self._seat = join(self.probe.id, line, key, form)
            gap_s = max(LEAST_GAP_S, GAP_LETTERS * LETTER_BITS / options["baud"])
            self._client = RtuClient(self._seat, timeout_s, gap_s)
        self._name = line.name
        self._schedule = Schedule(self.probe.every_s, self.around.monotonic())

    def read(self, wait_s: float) -> Batch:
        """Ask when it is time, one request after the other; a poll may take several reads."""
        seat, client, schedule = self._opened()
        end_s = self.around.monotonic() + wait_s
        if not self._left:
            if (left_s := schedule.left_s(self.around.monotonic())) > 0:
                self.around.pause(min(left_s, wait_s))
            if not schedule.due(self.around.monotonic()):
                return EMPTY
            self._begin(self._blocks)
        while self._left:
            if not seat.take(max(0.0, end_s - self.around.monotonic())):
                return EMPTY
            try:
                self._ask(client, self._left[0])
            finally:
                seat.give_back()
            if self._left and self.around.monotonic() >= end_s:
                return EMPTY
        return self._batch()

    def _opened(self) -> tuple[Seat, RtuClient | TcpClient, Schedule]:
        if self._seat is None or self._client is None or self._schedule is None:
            raise PortTrouble(self.probe.id, str(self.options["port"]), PortReason.UNPLUGGED, "it is not open")
        return self._seat, self._client, self._schedule

    def _begin(self, left: tuple[Block, ...]) -> None:
        self._left = list(left)
        self._asked = 0
        self._answers: dict[Block, list[int]] = {}
        self._problems: list[str] = []
        self._heard = False
        self._time_ms = 0

    def _ask(self, client: RtuClient | TcpClient, block: Block) -> None:
        """Ask for one block once; it is left for later when it should be asked for again."""
        self._asked += 1
        try:
            found = registers(client, self.options["device"], block)
        except Refused as refusal:
            self._heard = True
            self._done(block, str(refusal))
        except NoAnswer as error:
            self._heard = self._heard or bool(error.heard)
            if self._asked < self.options["tries"]:
                return
            client.settle()
            self._done(block, str(error))
            if not self._heard:
                self._left = []
        else:
            if self._asked > 1:
                client.settle()
            self._heard = True
            self._time_ms = self._time_ms or self.around.now_ms()
            self._answers[block] = found
            self._done(block, "")

    def _done(self, block: Block, problem: str) -> None:
        self._left.remove(block)
        self._asked = 0
        if problem:
            last = block.address + block.count - 1
            where = f"register {block.address}" if block.count == 1 else f"registers {block.address} to {last}"
            self._problems.append(f"device {self.options['device']}, {where}: {problem}")

    def _batch(self) -> Batch:
        if not self._heard:
            self._missed()
            return EMPTY
        self._unanswered = 0
        time_ms = self.around.stamper.stamp(self._time_ms) if self._answers else 0
        readings, problems = [], self._problems
        for value, register in self._registers:
            found = taken(register, self._answers)
            if found is None:
                continue
            try:
                number = register.value(found)
            except ValueError as error:
                problems.append(f"{value.quantity}: {error}")
                continue
            readings.append(RawReading(self.probe.id, value.quantity, time_ms, number, value.unit))
        return Batch(tuple(readings), int(bool(problems)), "; ".join(problems))

    def _missed(self) -> None:
        self._unanswered += 1
        if self._unanswered >= UNANSWERED_LIMIT:
            what = f"{self._unanswered} times in a row no answer from device {self.options['device']}; check its "
            what += "power and number, "
            what += "baud, parity and wiring (are A and B swapped?)" if self.options["port"] else "and the gateway"
            raise PortTrouble(self.probe.id, self._name, PortReason.SILENT, what)

    def acknowledge(self, batch: Batch) -> None:
        """Nothing to say: registers hold only the present."""

    def close(self) -> None:
        """Leave the line."""
        seat, self._seat = self._seat, None
        if seat is not None:
            seat.leave()
