"""How heat and oxygen of tank water move, for the forecast. Data with reasons. Must not do: judge."""

from __future__ import annotations

from api.domain.quantity import Quantity
from api.judge.first_order import Nature

# Heat: time constants of 6 to 19 h (17 L open to 138 L with a lid), new slopes of 0.5 to 2.5 K/h from a heater stuck on
# (facts of the simulated room); a day's room swing bends the slope. Step: 0.3 K between two readings is a can or air.
# Oxygen: 0.05 to 0.2 per hour without air, 1 to 4 with (kL 2 cm/h over 25 cm; ASCE sizes of airstones). New slopes of
# 0.3 to 2 mg/L/h when air stops. Step: 0.3 mg/L.
# What falls faster and faster goes on so, faster still, or straight once its cause stops growing; a filter that stops
# leaves some exchange or much. Shares of what happened on the simulated room's nights used for tuning.
STARVES = (-0.35, 0.06, 0.3, 1.5)
STARVES_AHEAD = (
    ((-1.0, 0.25), (-0.35, 0.25), (0.06, 0.5)),
    ((0.06, 1.0),),
    ((0.12, 0.3), (0.3, 0.45), (0.7, 0.25)),
    ((1.5, 1.0),),
)
STARVES_SHARES = (0.25, 0.3, 0.2, 0.25)
HEATS = (0.04, 0.09, 0.2)
HEATS_AHEAD = tuple(((rate, 1.0),) for rate in HEATS)
NATURES: dict[Quantity, Nature] = {
    Quantity.TEMPERATURE: Nature(HEATS, (0.6, 0.3, 0.1), 1.0, 0.05, 0.005, 0.3, 0.1, 0.03, 0.006, HEATS_AHEAD),
    Quantity.OXYGEN: Nature(STARVES, STARVES_SHARES, 1.5, 0.18, 0.005, 0.3, 0.1, 0.05, 0.006, STARVES_AHEAD),
    Quantity.OXYGEN_SATURATION: Nature(STARVES, STARVES_SHARES, 18.0, 2.2, 0.06, 3.6, 1.2, 0.05, 0.07, STARVES_AHEAD),
}
"""Judgement, tuned on the simulated room; percent is mg/L times 12 (25 degC, Benson & Krause)."""
