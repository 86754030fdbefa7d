"""The danger limits of each probe in the probe's own unit, for a collector that must judge alone while we are away.

Must not do: judge, or hand out a limit that cannot be said in what the probe says.
"""

from __future__ import annotations

from typing import Any

from api.domain.alert import AlertKind
from api.domain.band import Side
from api.domain.calibration import line_at
from api.domain.care import CareRange
from api.domain.errors import IntermoltError
from api.domain.quantity import MEANING, Quantity
from api.domain.tank import Probe, Tank, Value
from api.judge.samples import KINDS
from api.judge.words import FIRST_CHECK
from api.science.oxygen import percent_saturation
from api.science.units import from_canonical
from api.services.plan import RoomPlan
from api.storage.base import Channel, Store


def danger_limits(store: Store, plan: RoomPlan, now_ms: int) -> list[dict[str, Any]]:
    """One entry a probe and quantity that has a danger limit: what a collector needs to warn by itself."""
    channels = store.readings.channels()
    out = []
    for probe in plan.probes.values():
        tank = plan.tanks.get(probe.tank or "")
        for value in probe.values if tank is not None and probe.live else ():
            care = plan.range_of(tank, value.quantity) if tank is not None else None
            if care is None and value.quantity is Quantity.OXYGEN_SATURATION and tank is not None:
                care = _percent_range(tank, plan, channels)
            if tank is not None and care is not None and (care.danger_low, care.danger_high) != (None, None):
                out.append(_entry(probe, value, tank, care, plan, now_ms))
    return out


def _entry(probe: Probe, value: Value, tank: Tank, care: CareRange, plan: RoomPlan, now_ms: int) -> dict[str, Any]:
    low, high = _said(probe, value, care.danger_low, plan, now_ms), _said(probe, value, care.danger_high, plan, now_ms)
    checks = {side: kind for kind, side in KINDS.get(value.quantity, ())}
    other = AlertKind.OUTSIDE_CARE
    return {
        "probe": probe.id,
        "quantity": str(value.quantity),
        "label": MEANING[value.quantity].label,
        "unit": value.unit,
        "tank": tank.name,
        "low": low,
        "high": high,
        "delay_s": care.danger_on_delay_s,
        "low_check": FIRST_CHECK[checks.get(Side.LOW, other)],
        "high_check": FIRST_CHECK[checks.get(Side.HIGH, other)],
    }


def _said(probe: Probe, value: Value, limit: float | None, plan: RoomPlan, now_ms: int) -> float | None:
    """A limit as the probe would say it: its calibration undone, in its own unit."""
    if limit is None:
        return None
    line = line_at(plan.channel(probe.id, value.quantity).lines, now_ms)
    try:
        return float(from_canonical(value.quantity, value.unit)((limit - line.offset) / line.slope if line else limit))
    except IntermoltError:
        return None


def _percent_range(tank: Tank, plan: RoomPlan, channels: list[Channel]) -> CareRange | None:
    """The oxygen limits in percent, at the tank's newest temperature; None while that is not known."""
    care = plan.range_of(tank, Quantity.OXYGEN)
    own = {probe.id for probe in plan.probes_of(tank.id)}
    warm = [
        one for one in channels if one.quantity is Quantity.TEMPERATURE and one.probe in own and one.value is not None
    ]
    if care is None or not warm:
        return None
    newest = max(warm, key=lambda one: one.last_ms)

    def percent(limit: float | None) -> float | None:
        if limit is None or newest.value is None:
            return None
        return percent_saturation(limit, newest.value, plan.pressure_kpa, plan.salinity_psu(tank.id))

    try:
        return CareRange(
            Quantity.OXYGEN_SATURATION,
            danger_low=percent(care.danger_low),
            danger_high=percent(care.danger_high),
            danger_on_delay_s=care.danger_on_delay_s,
        )
    except IntermoltError:
        return None
