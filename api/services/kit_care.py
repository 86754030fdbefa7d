"""What a test kit's values mean beside the tank's care range, said at once to whoever enters them.

Ammonia is told by its un-ionised part, from the pH and temperature of the water. Must not do: refuse or keep anything.
"""

from __future__ import annotations

from api.domain.band import Band, Side
from api.domain.care import CareRange
from api.domain.errors import OutOfRange
from api.domain.husbandry import Husbandry, KitValue
from api.domain.quantity import Quantity
from api.domain.reading import Flag
from api.judge.assess import assess
from api.judge.words import amount
from api.science.ammonia import unionized_fraction
from api.services.plan import RoomPlan
from api.storage.base import Store

FRESH_MS = 86_400_000
"""A reading older than this is not taken for the water of a test. [ms]"""
NH3_WARN_MG_L, NH3_ACT_MG_L = 0.02, 0.05
"""Un-ionised, as nitrogen: half of what red claw juveniles bear, 0.04 mg/L (96 h test), and a little more than that:
judgement. [mg/L]"""


def kit_words(event: Husbandry, store: Store, plan: RoomPlan) -> tuple[str, ...]:
    """What is outside its range, each in a sentence; nothing for what is well or has no range."""
    tank = plan.tanks.get(event.tank) if event.tank is not None else None
    if tank is None:
        return ()
    said = [_beside(one, plan.range_of(tank, one.quantity)) for one in event.tested]
    total = next((one for one in event.tested if one.quantity is Quantity.AMMONIA), None)
    if total is not None:
        said.append(_unionized(total.value, event, store, plan))
    return tuple(filter(None, said))


def _beside(one: KitValue, care: CareRange | None) -> str:
    found = assess(one.value, care)
    if care is None or found.band in (Band.TARGET, Band.UNKNOWN):
        return ""
    low = found.side is Side.LOW
    name = f"{'tolerable' if found.band is not Band.TOLERABLE else 'target'}_{'low' if low else 'high'}"
    limit = getattr(care, name)
    if limit is None:
        limit, name = found.limit, "danger_low" if low else "danger_high"
    words = name.split("_")[0]
    where = f"{'below' if low else 'above'} {amount(limit, one.quantity)} ({words}; {care.source_of(name)})"
    urge = "" if found.band is Band.TOLERABLE else " Change it slowly."
    text = amount(one.value, one.quantity)
    return f"{one.quantity.replace('_', ' ').replace('ph', 'pH')} {text.removeprefix('pH ')} is {where}.{urge}"


def _unionized(total_mg_l: float, event: Husbandry, store: Store, plan: RoomPlan) -> str:
    """The poisonous part of a total; silence below the warning, "not known" where pH or temperature is."""
    tested = {one.quantity: one.value for one in event.tested}
    ph = tested.get(Quantity.PH, _newest(event, Quantity.PH, store, plan))
    warmth_c = _newest(event, Quantity.TEMPERATURE, store, plan)
    if total_mg_l <= 0:
        return ""
    if ph is None or warmth_c is None:
        missing = " and ".join(word for word, known in (("pH", ph), ("temperature", warmth_c)) if known is None)
        return f"How much of the ammonia is un-ionised is not known without the {missing}: test that too."
    try:
        part_mg_l = total_mg_l * unionized_fraction(ph, warmth_c)
    except OutOfRange:
        return f"How much of the ammonia is un-ionised cannot be told at pH {ph:.1f} and {warmth_c:.1f} °C."
    where = f"{part_mg_l:.3f} mg/L of the ammonia is un-ionised (as N, at pH {ph:.1f}, {warmth_c:.1f} °C)"
    if part_mg_l >= NH3_ACT_MG_L:
        return (
            f"{where}, above {NH3_ACT_MG_L:g}: change water in small steps with dechlorinated water of the tank's own"
            " temperature, feed nothing, look for what is dead."
        )
    return f"{where}, above {NH3_WARN_MG_L:g}: feed less and test again tomorrow." if part_mg_l >= NH3_WARN_MG_L else ""


def _newest(event: Husbandry, quantity: Quantity, store: Store, plan: RoomPlan) -> float | None:
    """A probe's value near the time of the test."""
    for one in store.readings.channels():
        tank = plan.channel(one.probe, one.quantity).tank
        if one.quantity is not quantity or tank is None or tank.id != event.tank:
            continue
        rows = store.readings.recent(one.probe, quantity, event.time_ms - FRESH_MS, event.time_ms + 1)
        good = [value for _, value, flag in rows if value is not None and flag < Flag.SUSPECT]
        if good:
            return good[-1]
    return None
