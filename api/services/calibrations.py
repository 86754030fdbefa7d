"""The calibration log: entering and withdrawing, and the values made anew from the time on which it is in force.

Every change is one transaction with the spans it makes due; the plan changes in the same moment. Must not do: delete.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Future
from dataclasses import asdict, dataclass, replace

from api.domain.calibration import USUAL_SLOPES, Calibration, CalibrationKind, line_of
from api.domain.errors import InputError, NotFound, OutOfRange
from api.domain.quantity import MEANING, Quantity
from api.domain.texts import person_name, shortened, writable
from api.science.oxygen import saturation_mg_l
from api.services.plan import RoomPlan
from api.storage.base import CALIBRATED, CalibrationRow, Store

MOST_NOTE = 500
AHEAD_MS = 600_000
"""Readings that arrive while the plan changes are made anew as well. [ms]"""


@dataclass(frozen=True, slots=True)
class Entry:
    """A calibration on record. ``withdrawn_ms`` not None: it is no longer in force."""

    id: int
    calibration: Calibration
    entered_ms: int
    withdrawn_ms: int | None
    withdrawn_by: str


def entry_of(row: CalibrationRow) -> Entry:
    """A kept calibration as an entry."""
    body = {**row.body, "quantity": row.quantity, "kind": CalibrationKind(row.body["kind"])}
    return Entry(row.id, Calibration(**body), row.entered_ms, row.withdrawn_ms, row.withdrawn_by)


def in_force(entries: Sequence[Entry], probe: str, quantity: Quantity) -> list[Calibration]:
    """A channel's calibrations that count, in the order they take effect."""
    mine = [one for one in entries if (one.calibration.probe, one.calibration.quantity) == (probe, quantity)]
    return [one.calibration for one in mine if one.withdrawn_ms is None]


class Calibrations:
    """Enters and withdraws calibrations."""

    def __init__(self, store: Store, plan: Callable[[], RoomPlan], reload: Callable[[], None]) -> None:
        self._store, self._plan, self._reload = store, plan, reload

    def entries(self) -> list[Entry]:
        """All on record, in the order they take effect."""
        return [entry_of(row) for row in self._store.revisions.calibrations()]

    def expected(
        self, quantity: Quantity, probe: str, temperature_c: float | None, pressure_kpa: float | None
    ) -> tuple[float, float]:
        """What an oxygen probe should say in air-saturated water, and the station pressure [kPa] that was used.

        Raises InputError when the temperature is missing or outside the formula's range.
        """
        plan = self._plan()
        pressure_kpa = plan.pressure_kpa if pressure_kpa is None else pressure_kpa
        if quantity is Quantity.OXYGEN_SATURATION:
            return 100.0, pressure_kpa
        if temperature_c is None:
            raise InputError("air saturation in mg/L depends on temperature: give the water's temperature in °C")
        tank = plan.channel(probe, quantity).tank
        try:
            held = saturation_mg_l(temperature_c, pressure_kpa, plan.salinity_psu(tank.id if tank else None))
        except OutOfRange as error:
            raise InputError(str(error)) from error
        return held, pressure_kpa

    def enter(self, given: Calibration, now_ms: int) -> Future[int]:
        """Put a calibration on record; the future gives its id.

        Raises InputError when the person, the probe or the numbers cannot be used.
        """
        given = replace(
            given, person=person_name(given.person, "a calibration is made"), note=shortened(given.note, MOST_NOTE)
        )
        writable("note", given.note)
        if given.from_ms > now_ms + AHEAD_MS:
            raise InputError("a calibration cannot be in force from a time that has not come yet")
        self._known(given.probe, given.quantity)
        entries = self.entries()
        history = sorted([*in_force(entries, given.probe, given.quantity), given], key=lambda one: one.from_ms)
        for count in range(len(history)):
            line_of(history[: count + 1])
        body = {name: value for name, value in asdict(given).items() if name != "quantity"}
        return self._store.write(lambda: self._enter(given, body, now_ms), self._settled)

    def warning(self, given: Calibration) -> str:
        """What to think about before a calibration is trusted; empty when its slope is usual."""
        history = [*in_force(self.entries(), given.probe, given.quantity), given]
        slope = line_of(sorted(history, key=lambda one: one.from_ms)).slope
        if USUAL_SLOPES[0] <= slope <= USUAL_SLOPES[1]:
            return ""
        return f"the slope is now {slope:.2f}: clean the probe or renew its membrane or tip, then compare it again"

    def withdraw(self, calibration_id: int, person: str, now_ms: int) -> Future[None]:
        """Take a calibration out of force; it stays on record with who did it.

        Raises NotFound, and InputError without a name.
        """
        name = person_name(person, "a calibration is withdrawn")
        found = next((one for one in self.entries() if one.id == calibration_id), None)
        if found is None or found.withdrawn_ms is not None:
            raise NotFound(f"there is no calibration {calibration_id} in force")
        left = [one for one in in_force(self.entries(), found.calibration.probe, found.calibration.quantity)]
        left.remove(found.calibration)
        for count in range(len(left)):
            line_of(left[: count + 1])
        return self._store.write(lambda: self._withdraw(found, name, now_ms), self._settled)

    def _known(self, probe: str, quantity: Quantity) -> None:
        heard = {(one.probe, one.quantity) for one in self._store.readings.channels() if not one.derived}
        if (probe, quantity) not in heard and not self._plan().measures(probe, quantity):
            raise NotFound(f"probe {probe!r} does not measure {MEANING[quantity].label}")

    def _enter(self, given: Calibration, body: dict[str, object], now_ms: int) -> int:
        number = self._store.revisions.add_calibration(given.probe, given.quantity, given.from_ms, body, now_ms)
        self._due(given, now_ms)
        return number

    def _withdraw(self, entry: Entry, person: str, now_ms: int) -> None:
        self._store.revisions.withdraw_calibration(entry.id, person, now_ms)
        self._due(entry.calibration, now_ms)

    def _due(self, calibration: Calibration, now_ms: int) -> None:
        key = (calibration.probe, calibration.quantity)
        # the reading before it is checked beside the first one after it
        start_ms = calibration.from_ms - round((self._plan().channel(*key).limits.gap_s or 0.0) * 1000)
        self._store.revisions.wait(*key, CALIBRATED, start_ms, now_ms + AHEAD_MS, now_ms)
        self._reload()

    def _settled(self, kept: bool) -> None:
        if not kept:
            self._reload()
