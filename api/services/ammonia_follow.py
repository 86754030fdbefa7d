"""Which pH and temperature each tank with an ammonia probe has now, so that its limits follow them.

Must not do: reckon (``api/judge/ammonia_care.py``).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from api.domain.husbandry import EventKind
from api.domain.quantity import Quantity
from api.domain.reading import Flag
from api.services.entries import entry_of
from api.services.plan import RoomPlan
from api.storage.animal_base import Asked
from api.storage.base import Store

PROBE_MS, KIT_MS = 3_600_000, 7 * 86_400_000
"""How long a probe's reading, and a test kit's pH, stand for the water: judgement. [ms]"""


class AmmoniaFollow:
    """Looks; ``put`` tells the plan, in steps coarse enough that it does not change with every reading."""

    def __init__(
        self,
        store: Store,
        plan: Callable[[], RoomPlan],
        put: Callable[[Mapping[str, tuple[float, float]]], None],
        now_ms: Callable[[], int],
    ) -> None:
        self._store, self._plan, self._put, self._now_ms = store, plan, put, now_ms

    def look(self) -> None:
        """One look at every tank that an ammonia probe hangs in."""
        plan, now_ms = self._plan(), self._now_ms()
        tanks = {
            probe.tank
            for probe in plan.probes.values()
            if probe.tank is not None and any(value.quantity is Quantity.AMMONIA for value in probe.values)
        }
        found = {}
        for tank in sorted(tanks):
            ph = self._newest(tank, Quantity.PH, plan, now_ms)
            ph = self._kit_ph(tank, now_ms) if ph is None else ph
            warmth_c = self._newest(tank, Quantity.TEMPERATURE, plan, now_ms)
            if ph is not None and warmth_c is not None:
                found[tank] = (round(ph, 1), round(warmth_c, 0))
        self._put(found)

    def _newest(self, tank: str, quantity: Quantity, plan: RoomPlan, now_ms: int) -> float | None:
        """What a probe of the tank said last, if that is not long ago."""
        heard = [
            one
            for one in self._store.readings.channels()
            if one.quantity is quantity and one.value is not None and one.flag < Flag.SUSPECT
            and now_ms - one.last_ms <= PROBE_MS
            and (plan.probes[one.probe].tank if one.probe in plan.probes else None) == tank
        ]  # fmt: skip
        return max(heard, key=lambda one: one.last_ms).value if heard else None

    def _kit_ph(self, tank: str, now_ms: int) -> float | None:
        """The newest pH of a test kit."""
        asked = Asked(tank=tank, kinds=(EventKind.TESTED,), start_ms=now_ms - KIT_MS, end_ms=now_ms + 1, standing=True)
        for row in self._store.animals.events(asked, newest_first=True):
            for one in entry_of(row).event.tested:
                if one.quantity is Quantity.PH:
                    return one.value
        return None
