"""What is known of one probe: where it is, what it says, its checks' limits, its calibrations and when one is due.

Must not do: change anything (``calibrations.py`` does).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from api.domain.calibration import Line, line_at, line_of
from api.domain.checks import CheckLimits
from api.domain.errors import NotFound
from api.domain.quantity import MEANING, Quantity
from api.domain.tank import Probe
from api.science.units import converter
from api.services.calibrations import Entry, entry_of, in_force
from api.services.plan import EVERY_DAYS, RoomPlan
from api.storage.base import Channel, Store


@dataclass(frozen=True, slots=True)
class Compared:
    """A calibration with what it showed: how far the probe, as it was calibrated before, was off, and the line after.

    ``off`` is what the probe said less what was true, in the canonical unit.
    """

    entry: Entry
    off: float | None
    line: Line | None


@dataclass(frozen=True, slots=True)
class ChannelNow:
    """One quantity of a probe. ``said`` is its newest reading in the canonical unit, before calibration.

    ``due_ms`` is when it should be compared again, None where nothing asks for it; ``reminded`` when it was asked for.
    """

    quantity: Quantity
    unit: str
    said: float | None
    said_ms: int | None
    value: float | None
    limits: CheckLimits
    own_limits: tuple[str, ...]
    compared: tuple[Compared, ...]
    every_days: float | None
    due_ms: int | None
    reminded: bool


@dataclass(frozen=True, slots=True)
class ProbeNow:
    """One probe. ``probe`` None: it is heard, but the room file does not know it."""

    id: str
    probe: Probe | None
    tank_id: str | None
    tank_name: str
    channels: tuple[ChannelNow, ...]
    waiting: bool


class Probes:
    """Answers questions about probes."""

    def __init__(self, store: Store, plan: Callable[[], RoomPlan]) -> None:
        self._store, self._plan = store, plan

    def all(self) -> tuple[ProbeNow, ...]:
        """Every probe that is described or was ever heard, in the order of the room file."""
        plan = self._plan()
        channels = [one for one in self._store.readings.channels() if not one.derived]
        names = dict.fromkeys([*plan.probes, *(one.probe for one in channels)])
        entries = [entry_of(row) for row in self._store.revisions.calibrations()]
        waiting = {span.probe for span in self._store.revisions.waiting()}
        return tuple(self._one(name, channels, entries, plan, name in waiting) for name in names)

    def probe(self, probe_id: str) -> ProbeNow:
        """One probe.

        Raises NotFound.
        """
        found = next((one for one in self.all() if one.id == probe_id), None)
        if found is None:
            raise NotFound(f"there is no probe {probe_id!r}")
        return found

    def _one(self, name: str, channels: list[Channel], entries: list[Entry], plan: RoomPlan, waiting: bool) -> ProbeNow:
        described = plan.probes.get(name)
        heard = {one.quantity: one for one in channels if one.probe == name}
        quantities = dict.fromkeys([*(v.quantity for v in (described.values if described else ())), *heard])
        tank = plan.tanks.get(described.tank) if described is not None and described.tank is not None else None
        return ProbeNow(
            id=name,
            probe=described,
            tank_id=tank.id if tank else None,
            tank_name=tank.name if tank else "",
            channels=tuple(channel_now(name, one, heard.get(one), entries, plan) for one in quantities),
            waiting=waiting,
        )


def channel_now(
    probe: str, quantity: Quantity, heard: Channel | None, entries: list[Entry], plan: RoomPlan
) -> ChannelNow:
    """One quantity of one probe."""
    value = plan.value_of(probe, quantity)
    compared = _compared(entries, probe, quantity)
    asked = value.calibrate_every_days if value is not None else None
    last_ms = max((one.entry.calibration.from_ms for one in compared if one.line is not None), default=None)
    described = plan.probes.get(probe)
    live = described is None or described.live
    every_days = (asked or EVERY_DAYS.get(quantity)) if live else None
    said = None
    if heard is not None and heard.raw is not None and heard.value is not None:
        said = converter(quantity, heard.unit)(heard.raw)
    return ChannelNow(
        quantity=quantity,
        unit=value.unit if value is not None else (heard.unit if heard is not None else MEANING[quantity].unit),
        said=said,
        said_ms=heard.last_ms if heard is not None else None,
        value=heard.value if heard is not None else None,
        limits=plan.channel(probe, quantity).limits,
        own_limits=tuple(value.checks) if value is not None else (),
        compared=compared,
        every_days=every_days,
        due_ms=plan.calibration_due_ms(probe, quantity) if live else None,
        reminded=asked is not None or last_ms is not None,
    )


def _compared(entries: list[Entry], probe: str, quantity: Quantity) -> tuple[Compared, ...]:
    """Each calibration of a channel, in the order they take effect, with what it showed."""
    out = []
    mine = [one for one in entries if (one.calibration.probe, one.calibration.quantity) == (probe, quantity)]
    for entry in mine:
        given = entry.calibration
        before = [one for one in in_force(mine, probe, quantity) if one.from_ms < given.from_ms]
        if entry.withdrawn_ms is not None:
            out.append(Compared(entry, None, None))
            continue
        line = line_at((line_of(before),), given.from_ms) if before else Line(0)
        off = (line.true(given.said) if line is not None else given.said) - given.expected
        out.append(Compared(entry, off, line_of([*before, given])))
    return tuple(out)
