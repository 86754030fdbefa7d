"""What may have happened to a tank, a room or a probe, and the evidence that says so.

Must not do: weigh evidence (``api/judge/causes.py``) or say what to do about it.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class CauseName(StrEnum):
    """Names of causes."""

    LOST_AIR = "lost_air"
    STAGNATION = "stagnation"
    HEATER_STUCK_ON = "heater_stuck_on"
    HEATER_DEAD = "heater_dead"
    RISING_DEMAND = "rising_demand"
    ROOM_COOLING = "room_cooling"
    ROOM_HEATING = "room_heating"
    POWER_CUT = "power_cut"
    PROBE_IN_AIR = "probe_in_air"
    PROBE_DRIFTING = "probe_drifting"
    PROBE_STUCK = "probe_stuck"
    PROBE_UNSTEADY = "probe_unsteady"
    PROBE_QUIET = "probe_quiet"
    PROBES_SWAPPED = "probes_swapped"
    NOT_KNOWN = "not_known"


CAUSE_WORDS = {
    CauseName.LOST_AIR: "the air has stopped or weakened",
    CauseName.STAGNATION: "the water stands: filter or pump stopped",
    CauseName.HEATER_STUCK_ON: "the heater does not switch off",
    CauseName.HEATER_DEAD: "the heater does not heat",
    CauseName.RISING_DEMAND: "something takes more oxygen: a dead animal, food left, too many",
    CauseName.ROOM_COOLING: "the room is getting cold",
    CauseName.ROOM_HEATING: "the room is getting hot",
    CauseName.POWER_CUT: "the power is off in the room",
    CauseName.PROBE_IN_AIR: "the probe hangs out of the water",
    CauseName.PROBE_DRIFTING: "the probe drifts, or is fouled",
    CauseName.PROBE_STUCK: "the probe stands still on one number",
    CauseName.PROBE_UNSTEADY: "the probe jumps about",
    CauseName.PROBE_QUIET: "the probe says nothing",
    CauseName.PROBES_SWAPPED: "two probes may be swapped between tanks",
    CauseName.NOT_KNOWN: "not known",
}
"""What a keeper is told."""
CAUSE_SHORT = {
    CauseName.LOST_AIR: "air lost",
    CauseName.STAGNATION: "pump stopped",
    CauseName.HEATER_STUCK_ON: "heater stuck on",
    CauseName.HEATER_DEAD: "heater dead",
    CauseName.RISING_DEMAND: "demand rising",
    CauseName.ROOM_COOLING: "room cooling",
    CauseName.ROOM_HEATING: "room heating up",
    CauseName.POWER_CUT: "power cut",
    CauseName.PROBE_IN_AIR: "probe out of the water",
    CauseName.PROBE_DRIFTING: "probe drifting",
    CauseName.PROBE_STUCK: "probe stuck",
    CauseName.PROBE_UNSTEADY: "probe jumping",
    CauseName.PROBE_QUIET: "probe quiet",
    CauseName.PROBES_SWAPPED: "probes swapped",
}
"""The same in the fewest words, for a phone's first lines."""

ROOM_WIDE = frozenset({CauseName.ROOM_COOLING, CauseName.ROOM_HEATING, CauseName.POWER_CUT})
"""Causes that many tanks share; they are told once for the room."""
OF_PROBE = frozenset(
    {
        CauseName.PROBE_IN_AIR,
        CauseName.PROBE_DRIFTING,
        CauseName.PROBE_STUCK,
        CauseName.PROBE_UNSTEADY,
        CauseName.PROBE_QUIET,
        CauseName.PROBES_SWAPPED,
    }
)
"""Causes that make a reading no water: nothing is wrong with the tank as far as is known."""


@dataclass(frozen=True, slots=True)
class Cause:
    """A possible cause with its share of belief [1] and the evidence for it, each a short sentence."""

    name: CauseName
    share: float
    evidence: tuple[str, ...] = ()

    @property
    def words(self) -> str:
        """The cause as a keeper says it."""
        return CAUSE_WORDS[self.name]
