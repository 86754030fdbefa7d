"""One tank's channels together: forecast, probe health and causes, for whoever judges. A few microseconds a reading.

Pure, a fixed amount of memory; times come with the readings. Must not do: raise alerts (``alert_cycle.py``).
"""

from __future__ import annotations

from api.domain.alert import Priority
from api.domain.band import Side
from api.domain.care import CareRange
from api.domain.cause import Cause, CauseName
from api.domain.errors import OutOfRange
from api.domain.outlook import NOTHING, Outlook
from api.domain.quantity import Quantity
from api.judge import causes, probe_health
from api.judge.channel_watch import ChannelWatch
from api.judge.fall_shape import FallShape
from api.judge.heading import Heading, outlook_of
from api.judge.natures import NATURES
from api.judge.oxygen_past import OxygenPast
from api.judge.standstill import Standstill
from api.judge.swapped import Moved
from api.science.oxygen import saturation_mg_l

Key = tuple[str, Quantity]
SIDES = {
    Quantity.TEMPERATURE: (Side.LOW, Side.HIGH),
    Quantity.OXYGEN: (Side.LOW,),
    Quantity.OXYGEN_SATURATION: (Side.LOW,),
}
PER_MG_L = {Quantity.OXYGEN: 1.0, Quantity.OXYGEN_SATURATION: 12.0}
DRIFT_OVER_MG_L = 0.2
"""A drift is over when the probe says so little below what was usual before it (judgement)."""
TOGETHER_MIN = 30.0
SHAPE_FROM_MG_L = 0.1
"""An hour's fall of less than this has no shape. [mg/L]"""
DEPARTS = {Quantity.TEMPERATURE: 0.25, Quantity.OXYGEN: 0.12, Quantity.OXYGEN_SATURATION: 1.4}
"""So far outside its usual band a tank counts as leaving it, beside others that do (judgement)."""


class TankWatch:
    """Follows one tank. ``others``: how the other tanks fare, see ``room_watch.py``."""

    def __init__(self, pressure_kpa: float = 101.325) -> None:
        self.channels: dict[Key, ChannelWatch] = {}
        self._headings: dict[tuple[Key, Side], Heading] = {}
        self.pasts: dict[Key, OxygenPast] = {}
        self._drifts: dict[Key, tuple[float, Cause]] = {}
        self.stills: dict[str, Standstill] = {}
        self.swaps: dict[str, tuple[Moved, Cause]] = {}
        self.pressure_kpa = pressure_kpa
        self.others = (0, 0, 0, 0)
        self.flow_usual: float | None = None
        self.flow_last: float | None = None

    def take(
        self, probe: str, quantity: Quantity, time_ms: int, value: float, care: CareRange | None, every_s: float,
        past: bool = False,
    ) -> bool:  # fmt: skip
        """One believable reading, or (``past``) a mean of earlier ones. True when there is something new to judge."""
        nature = NATURES.get(quantity)
        if nature is None:
            if quantity is Quantity.FLOW:
                self.flow_last = value
                usual = self.flow_usual
                self.flow_usual = value if usual is None else usual + 0.001 * (value - usual)
            return False
        key = (probe, quantity)
        watch = self.channels.get(key)
        if watch is None:
            watch = self.channels[key] = ChannelWatch(nature, every_s)
        if not past:
            self._remember_still(key, time_ms, value, watch.every_ms)
        if not watch.take(time_ms, value):
            if watch.disturbed_ms == time_ms:
                for side in SIDES[quantity]:
                    if (heading := self._headings.get((key, side))) is not None:
                        heading.jumped(watch, side)
            return False
        if quantity in PER_MG_L:
            self._remember_level(key, watch)
        self.look(key, care)
        return True

    def look(self, key: Key, care: CareRange | None) -> None:
        """What is expected of a channel's sides, after a span of readings closed."""
        if care is not None:
            for side in SIDES[key[1]]:
                heading = self._headings.get((key, side))
                if heading is None:
                    heading = self._headings[key, side] = Heading()
                heading.look(self.channels[key], care, side, key[1])

    @property
    def undisturbed(self) -> bool:
        """Whether nothing is expected of the tank, and none of its probes is thought to drift or to be elsewhere."""
        falls = any(past.slow.falls for past in self.pasts.values())
        return not (self.swaps or self._drifts or falls) and all(one.idle for one in self._headings.values())

    def derived(self, key: Key) -> bool:
        """Whether this is percent beside the milligrams it is derived from, or the other way round."""
        return key[1] is Quantity.OXYGEN_SATURATION and (key[0], Quantity.OXYGEN) in self.channels

    def _remember_still(self, key: Key, time_ms: int, value: float, every_ms: float) -> None:
        """How long all that a probe measures stays the same."""
        if not self.derived(key):
            still = self.stills.get(key[0])
            if still is None:
                still = self.stills[key[0]] = Standstill()
            still.take(key[1], time_ms, value, every_ms)

    def _remember_level(self, key: Key, watch: ChannelWatch) -> None:
        """The oxygen's own past, and the warmth of the water beside it."""
        heat = self._heat(key[0])
        past = self.pasts.get(key)
        if past is None:
            past = self.pasts[key] = OxygenPast(PER_MG_L[key[1]])
        past.remember(watch, heat.approach.level if heat is not None else 0.0)

    def _steepest(self, key: Key) -> float:
        """The steepest fall of the last three hours."""
        past = self.pasts.get(key)
        return past.shape.steepest(self.channels[key].approach.time_ms) if past is not None else 0.0

    def heading(self, probe: str, quantity: Quantity, side: Side | None) -> Heading | None:
        """What is expected of one side of a channel."""
        return self._headings.get(((probe, quantity), side)) if side is not None else None

    def expects(self, key: Key) -> bool:
        """Whether harm is expected of a channel, on any side."""
        sides = SIDES.get(key[1], ())
        return any((one := self._headings.get((key, side))) is not None and one.level is not None for side in sides)

    def outlook(self, probe: str, quantity: Quantity, care: CareRange | None) -> Outlook:
        """Slope and time left of one channel."""
        watch = self.channels.get((probe, quantity))
        return NOTHING if watch is None else outlook_of(watch, care)

    def health(self, probe: str, now_ms: int) -> tuple[Quantity, Cause] | None:
        """Why this probe cannot be believed, with the quantity that shows it; None when nothing speaks against it."""
        own = {quantity: watch for (name, quantity), watch in self.channels.items() if name == probe}
        if probe in self.swaps:
            return next(iter(own)), self.swaps[probe][1]
        if probe_health.untroubled(own.values(), self.stills.get(probe), now_ms):
            return self._drifting(probe)
        if Quantity.OXYGEN in own:
            own.pop(Quantity.OXYGEN_SATURATION, None)  # one of the two is derived from the other
        found = probe_health.stuck(list(own.items()), self.stills.get(probe), now_ms)
        if found is not None:
            return next((one for one, watch in own.items() if watch.stuck_nats > 0.0), next(iter(own))), found
        for quantity, watch in own.items():
            found = probe_health.unsteady(quantity, watch, now_ms)
            if found is not None:
                return quantity, found
        temperature, oxygen = own.get(Quantity.TEMPERATURE), own.get(Quantity.OXYGEN)
        found = probe_health.in_air(temperature, oxygen, self.pressure_kpa, now_ms, probe_health.LIFTED_AFTER_MS)
        if found is not None:
            return (Quantity.TEMPERATURE if temperature is not None else Quantity.OXYGEN), found
        return self._drifting(probe)

    def _drifting(self, probe: str) -> tuple[Quantity, Cause] | None:
        """Fell for hours in a slow straight line, well below what the day before showed; until it is back near that."""
        if not self._drifts and not any(past.slow.falls for past in self.pasts.values()):
            return None
        for quantity, per in PER_MG_L.items():
            key = (probe, quantity)
            watch = self.channels.get(key)
            if watch is None or self.derived(key):
                continue
            standing = self._drifts.get(key)
            if standing is not None:
                # what was usual then: a day of drift would make itself usual
                if standing[0] - watch.approach.level / per > DRIFT_OVER_MG_L:
                    return quantity, standing[1]
                del self._drifts[key]
            heading = self._headings.get((key, Side.LOW))
            if heading is not None and heading.level is Priority.URGENT:
                continue  # the water first
            fall = self.pasts[key].slow.found if key in self.pasts else None
            if fall is not None:
                self._drifts[key] = (fall.usual, probe_health.drifting(fall, watch.approach.time_ms))
                return quantity, self._drifts[key][1]
        return None

    def why(self, probe: str, quantity: Quantity, side: Side | None, now_ms: int) -> tuple[Cause, ...]:
        """What may have happened, the likeliest first."""
        found_lying = self.health(probe, now_ms)
        lying = found_lying[1] if found_lying is not None else None
        if side is None or quantity not in NATURES:
            return (lying,) if lying else ()
        signs = self.signs((probe, quantity))
        if quantity is Quantity.TEMPERATURE:
            found = causes.of_cold(signs) if side is Side.LOW else causes.of_heat(signs)
        else:
            found = causes.of_oxygen(signs)
        if lying is None or lying.name is CauseName.PROBE_DRIFTING:
            return found
        return (lying, *found)

    def signs(self, key: Key) -> causes.Signs:
        """What is seen of the tank now, with ``key`` as the channel asked about."""
        oxygen_key = key if key[1] in PER_MG_L else self._oxygen_key(key[0])
        heat = self._heat(key[0])
        said: dict[str, float | bool | int | None] = {}
        if oxygen_key is not None and (oxygen := self.channels.get(oxygen_key)) is not None:
            said |= self._oxygen_signs(oxygen_key, oxygen, heat)
        if heat is not None:
            approach, usual = heat.approach, heat.usual()
            beyond = 0.0
            if usual is not None:
                beyond = max(0.0, approach.level - usual[1]) + min(0.0, approach.level - usual[0])
            minutes = (approach.time_ms - approach.since_ms) / 60_000
            said |= {"heat_slope": approach.slope, "heat_minutes": minutes, "heat_beyond": beyond}
            said["cooling_too"] = (
                not approach.steady
                and approach.slope < -0.08
                and beyond < -0.15
                and abs(minutes - float(said.get("oxygen_minutes") or 0.0)) < TOGETHER_MIN
            )
        others, cool, warm, starve = self.others
        flow = self.flow_last / self.flow_usual if self.flow_usual and self.flow_last is not None else None
        return causes.Signs(
            others=others, others_cool=cool, others_warm=warm, others_starve=starve, flow_share=flow,
            gradient_k=self._gradient_k(), **said,  # type: ignore[arg-type]
        )  # fmt: skip

    def _oxygen_signs(self, key: Key, oxygen: ChannelWatch, heat: ChannelWatch | None) -> dict[str, float | None]:
        approach, usual, per = oxygen.approach, oxygen.usual(), PER_MG_L[key[1]]
        deficit = None
        if usual is not None:
            full = 100.0
            if key[1] is Quantity.OXYGEN:
                full = self._full_mg_l(heat)
            deficit = (full - (usual[0] + usual[1]) / 2.0) / per
        shape = self.pasts[key].shape if key in self.pasts else FallShape()
        half, quarter = shape.sudden(approach, SHAPE_FROM_MG_L * per)
        return {
            "oxygen_slope": approach.slope / per if not approach.steady else None,
            "oxygen_steepest": self._steepest(key) / per,
            "oxygen_grows": approach.share_slower(0.0),
            "oxygen_slow": approach.share_slower(0.2),
            "oxygen_minutes": (approach.time_ms - approach.since_ms) / 60_000,
            "oxygen_below": max(0.0, usual[0] - approach.level) / per if usual is not None else 0.0,
            "oxygen_deficit": deficit,
            "oxygen_half": half,
            "oxygen_quarter": quarter,
        }

    def _full_mg_l(self, heat: ChannelWatch | None) -> float:
        try:
            return saturation_mg_l(heat.approach.level if heat is not None else 25.0, self.pressure_kpa)
        except OutOfRange:
            return saturation_mg_l(25.0)

    def _oxygen_key(self, probe: str) -> Key | None:
        keys = [key for key in self.channels if key[1] in PER_MG_L]
        keys.sort(key=lambda key: (key[0] != probe, key[1] is not Quantity.OXYGEN))
        return keys[0] if keys else None

    def heat_key(self, probe: str) -> Key | None:
        """The temperature that goes with a probe: its own, else the first of the tank's."""
        if (probe, Quantity.TEMPERATURE) in self.channels:
            return probe, Quantity.TEMPERATURE
        return next((key for key in self.channels if key[1] is Quantity.TEMPERATURE), None)

    def _heat(self, probe: str) -> ChannelWatch | None:
        key = self.heat_key(probe)
        return self.channels[key] if key is not None else None

    def _gradient_k(self) -> float | None:
        """How much further apart two thermometers of the tank stand than they usually do."""
        heats = [watch for (_, quantity), watch in self.channels.items() if quantity is Quantity.TEMPERATURE]
        if len(heats) != 2:
            return None
        usual = [watch.usual() for watch in heats]
        if usual[0] is None or usual[1] is None:
            return None
        before = (sum(usual[0]) - sum(usual[1])) / 2.0
        return abs(heats[0].approach.level - heats[1].approach.level - before)

    def departs(self, quantity: Quantity) -> int:
        """Whether this tank leaves its usual band now: -1 below, 1 above, 0 not."""
        found = (one.leaves(DEPARTS[quantity]) for (_, own), one in self.channels.items() if own is quantity)
        return next((way for way in found if way), 0)

    def starves(self) -> tuple[bool, bool]:
        """Whether want of oxygen is expected, and whether within hours."""
        raised = [(key[1], one.level) for (key, _), one in self._headings.items() if one.level is not None]
        levels = [level for quantity, level in raised if quantity in PER_MG_L]
        return bool(levels), Priority.URGENT in levels
