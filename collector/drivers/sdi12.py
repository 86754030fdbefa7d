"""Sensors on an SDI-12 line (version 1.4), through a serial adapter that passes the text; several may share one port.

Must not do: keep a number of an answer of which another letter is wrong, or talk between another sensor's question and
its answer.

A measurement (section 4.4, from memory): ``aM!`` is answered ``atttn``: n values in at most ttt seconds. The sensor
says ``a`` when it is ready sooner, then ``aD0!``, ``aD1!`` ... bring the values. Until then an M measurement keeps the
line for itself; with C (``aC!``, ``atttnn``) the line is free for the others, and nothing is said when it is ready.
With ``crc = true`` (``aMC!``, ``aCC!``, ``aRC0!``) each answer with values carries a check; without it a changed digit
cannot be noticed by anybody.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from pathlib import Path
from typing import Any, ClassVar

from api.domain.reading import RawReading
from api.domain.tables import Key, Place
from api.domain.tank import Probe, Value
from collector.codecs import sdi12
from collector.drivers.base import EMPTY, Batch, Driver, Surroundings
from collector.drivers.bus import Seat, join
from collector.drivers.sdi12_talk import BreakPort, Steps, Talk, Unanswered, finished
from collector.drivers.serial_port import PARITIES
from collector.errors import PortReason, PortTrouble
from collector.schedule import Schedule

UNANSWERED_LIMIT = 5
"""Measurements in a row without a sign of life after which the sensor is reported and the port joined anew."""
SLACK_S = 0.25
"""What adapter and computer may add to the time a sensor has promised."""
SILENCE = (
    "no answer from address {address!r}; check power, wiring and address, and the adapter: "
    "break = false when it makes the break itself"
)


class Sdi12(Driver):
    """One address on an SDI-12 line, one measurement command."""

    KEYS: ClassVar[tuple[Key, ...]] = (
        Key("port", str, required=True),
        Key("address", str, "0"),
        Key("command", str, "M", choices=sdi12.COMMANDS),
        Key("crc", bool, False),
        Key("baud", int, 1200, low=50, high=4_000_000),
        Key("bits", int, 7, low=7, high=8),
        Key("parity", str, "even", choices=tuple(PARITIES)),
        Key("stop_bits", float, 1.0, low=1, high=2),
        Key("break", bool, True),
        Key("timeout_s", float, 1.0, low=0.02, high=10),
        Key("tries", int, 3, low=1, high=10),
        Key("max_wait_s", float, 60.0, low=0, high=999),
    )
    VALUE_KEYS: ClassVar[tuple[Key, ...]] = (Key("none_value", float),)

    def __init__(self, probe: Probe, options: Mapping[str, Any], around: Surroundings) -> None:
        super().__init__(probe, options, around)
        self._address, self._command = options["address"], options["command"]
        self._seat: Seat | None = None
        self._talk: Talk | None = None
        self._schedule: Schedule | None = None
        self._steps: Steps[Batch] | None = None
        self._unanswered = 0

    @classmethod
    def check(cls, probe: Probe, options: Mapping[str, Any], place: Place) -> None:
        """Check the address and the places of the values.

        Raises RoomFileError.
        """
        if not sdi12.ADDRESS.match(options["address"]):
            what = f"address = {options['address']!r} is none."
            raise place.wrong(what, 'Write one digit or letter, for example "0".', "address")
        if options["stop_bits"] not in (1, 1.5, 2):
            raise place.wrong("stop_bits must be 1, 1.5 or 2.", key="stop_bits")
        most = 9 if options["command"] in sdi12.MEASURE else 99
        placed = [value for value in probe.values if value.field is not None]
        if placed and len(placed) != len(probe.values):
            raise place.wrong("some values have a field, some have none.", "Say for each which value it is, from 1.")
        for number, value in enumerate(probe.values, 1):
            if value.key is not None:
                raise place.wrong(f"{value.quantity} has a key.", "SDI-12 values have none: write field = 1, 2, ...")
            if [other.quantity for other in probe.values].count(value.quantity) > 1:
                raise place.wrong(f"gives {value.quantity} twice.", "One value for each quantity of a probe.")
            if (value.field or number) > most:
                what = f"{value.quantity} is value {value.field or number}, {options['command']} gives at most {most}."
                raise place.wrong(what, "Look up which command and which place it has.")

    @classmethod
    def shared(cls, options: Mapping[str, Any], folder: Path) -> tuple[str, str]:
        """The port that several probes may name, and what all of them must agree on."""
        form = "sdi12 {baud} baud {bits} bits {parity} {stop_bits:g} stop break={break}".format(**options)
        return str((folder / options["port"]).resolve()), form

    def open(self) -> None:
        """Open the line, or join the sensors that have it open."""
        line = BreakPort(self.probe.id, self.options, self.around.folder)
        self._seat = join(self.probe.id, line, *self.shared(self.options, self.around.folder))
        self._talk = Talk(self._seat, self.around, self.options["timeout_s"], self.options["tries"])
        self._schedule = Schedule(self.probe.every_s, self.around.monotonic())

    def read(self, wait_s: float) -> Batch:
        """Measure when it is time; a measurement may take several reads."""
        start_s = self.around.monotonic()
        talk, schedule = self._opened()
        steps, self._steps = self._steps, None
        if steps is None:
            if (left_s := schedule.left_s(start_s)) > 0:
                self.around.pause(min(left_s, wait_s))
            if not schedule.due(self.around.monotonic()):
                return EMPTY
            steps = self._measurement(talk)
        done, batch = talk.run(steps, max(0.0, start_s + wait_s - self.around.monotonic()))
        if not done:
            self._steps = steps
        return batch or EMPTY

    def _opened(self) -> tuple[Talk, Schedule]:
        if self._talk is None or self._schedule is None:
            raise PortTrouble(self.probe.id, self.options["port"], PortReason.UNPLUGGED, "it is not open")
        return self._talk, self._schedule

    def _measurement(self, talk: Talk) -> Steps[Batch]:
        """One measurement from its command to its batch."""
        try:
            yield from talk.turn()
            found, time_ms = yield from self._found(talk)
        except Unanswered as error:
            if error.heard:
                self._unanswered = 0
                return Batch(unreadable=1, last_unreadable=f"address {self._address}: {error.heard}")
            return self._missed()
        finally:
            talk.give_back()
        self._unanswered = 0
        return self._batch(found, self.around.stamper.stamp(time_ms))

    def _found(self, talk: Talk) -> Steps[tuple[list[float], int]]:
        """The numbers, and when they were measured."""
        start = sdi12.start_command(self._address, self._command, self.options["crc"])
        values = partial(sdi12.values, address=self._address, crc=self.options["crc"])
        if self._command in sdi12.CONTINUOUS:
            found = yield from talk.ask(start, values)
            return found, self.around.now_ms()
        promised = yield from talk.ask(start, partial(sdi12.promise, address=self._address, command=self._command))
        yield from self._ready(talk, promised)
        time_ms = self.around.now_ms()
        found = []
        for index in range(sdi12.MOST_DATA):
            try:
                found += yield from talk.ask(sdi12.data_command(self._address, index), values)
            except Unanswered as error:
                if not found:
                    raise
                raise Unanswered(f"{promised.count} values were promised, {len(found)} came, then {error}") from error
            if len(found) >= promised.count:
                break
        if len(found) != promised.count:
            raise Unanswered(f"{promised.count} values were promised, {len(found)} came")
        return found, time_ms

    def _ready(self, talk: Talk, promised: sdi12.Promise) -> Steps[None]:
        """Wait until the sensor has measured, with the line (M) or without it (C)."""
        if promised.count == 0:
            raise Unanswered(f"it has no values for command {self._command}")
        if promised.wait_s > self.options["max_wait_s"]:
            wants = f"it wants {promised.wait_s} s for {self._command}"
            raise Unanswered(f"{wants}, more than max_wait_s = {self.options['max_wait_s']:g}")
        if self._command in sdi12.CONCURRENT:
            talk.give_back()
            yield from talk.rest(promised.wait_s)
            yield from talk.turn()
        elif promised.wait_s:
            yield from talk.service_request(self._address, promised.wait_s + SLACK_S)

    def _missed(self) -> Batch:
        self._unanswered += 1
        if self._unanswered >= UNANSWERED_LIMIT:
            raise self._silent(f"{self._unanswered} times in a row ")
        return EMPTY

    def _silent(self, often: str) -> PortTrouble:
        what = often + SILENCE.format(address=self._address)
        return PortTrouble(self.probe.id, str(self.around.folder / self.options["port"]), PortReason.SILENT, what)

    def _batch(self, found: list[float], time_ms: int) -> Batch:
        readings, problems = [], []
        for place, value in enumerate(self.probe.values, 1):
            try:
                number = _wanted(found, value, place)
                readings.append(RawReading(self.probe.id, value.quantity, time_ms, number, value.unit))
            except ValueError as error:
                problems.append(f"{value.quantity}: {error}")
        return Batch(tuple(readings), int(bool(problems)), "; ".join(problems))

    def identify(self) -> str:
        """Who answers at this address, by its own words; the probe must be open and not in the middle of a measurement.

        Raises PortTrouble when nobody does.
        """
        talk, _ = self._opened()
        within_s = 2 * self.options["tries"] * (self.options["timeout_s"] + 1.0) + self.options["max_wait_s"]
        try:
            who = finished(talk, self._introduction(talk), self.around.monotonic, within_s)
        except Unanswered as error:
            if not error.heard:
                raise self._silent("") from error
            return f"address {self._address}: {error.heard}"
        if who is None:
            raise PortTrouble(self.probe.id, self.options["port"], PortReason.BUSY, "another sensor keeps the line")
        return who

    def _introduction(self, talk: Talk) -> Steps[str]:
        try:
            yield from talk.turn()
            command = sdi12.identify_command(self._address)
            return (yield from talk.ask(command, partial(sdi12.identity, address=self._address)))
        finally:
            talk.give_back()

    def acknowledge(self, batch: Batch) -> None:
        """Nothing to say: a sensor forgets a measurement with the next."""

    def close(self) -> None:
        """Leave the line."""
        steps, self._steps = self._steps, None
        if steps is not None:
            steps.close()
        seat, self._seat = self._seat, None
        if seat is not None:
            seat.leave()


def _wanted(found: list[float], value: Value, place: int) -> float:
    number = sdi12.picked(found, value.field or place)
    if number == value.options.get("none_value"):
        raise ValueError(f"{number:g} is its word for no value")
    return number
