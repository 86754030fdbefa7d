"""What the forms of events offer: animals, tanks, limbs, signs, units of a test kit. Must not do: decide."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from api.domain.animal import Limb
from api.domain.husbandry import KIND_NAMES, SIGN_NAMES
from api.domain.quantity import MEANING
from api.services.animals import AnimalNow
from api.services.entries import Entry
from api.services.kit import kit_units
from dashboard import tank_log
from dashboard.clock import Clock
from dashboard.colony import colony
from dashboard.event_form import Fields
from dashboard.tank_log import Chip, Names, chip
from dashboard.visit import Visit


def names(here: Visit) -> Names:
    """What animals and tanks are called."""
    animals = colony(here.request).animals.all(here.clock.now_ms)
    tanks = {now.tank.id: now.tank.name or now.tank.id for now in here.room.tanks}
    return Names({one.id: one.animal.name for one in animals}, tanks)


def chips(here: Visit, animals: Sequence[AnimalNow]) -> list[Chip]:
    """Animals to choose from."""
    return [chip(one, here.clock) for one in animals]


def everyone(here: Visit) -> list[Chip]:
    """Every animal, by name."""
    found = chips(here, colony(here.request).animals.all(here.clock.now_ms))
    return sorted(found, key=lambda one: one.name.casefold())


def last_look(here: Visit, newest: Sequence[Entry]) -> str:
    """When somebody was last at a tank, as a form's field holds it: the newest entry's time."""
    times = [entry.event.time_ms for entry in newest if entry.standing]
    return here.clock.field(times[0]) if times else ""


def shared(here: Visit) -> dict[str, Any]:
    """What every form of an event needs."""
    used = colony(here.request).events.kit_units()
    kit = [
        {
            "name": str(quantity),
            "label": MEANING[quantity].label,
            "units": units,
            "unit": used.get(quantity, units[0][0]),
        }
        for quantity, units in kit_units()
    ]
    return {
        "kinds": KIND_NAMES,
        "signs": list(SIGN_NAMES.items()),
        "limbs": [(limb, limb.words) for limb in Limb],
        "kit": kit,
        "tanks": sorted((now.tank.id, now.tank.name or now.tank.id) for now in here.room.tanks),
        "taps": tank_log,
    }


def fields_of_entry(entry: Entry, clock: Clock) -> Fields:
    """An entry as its form would have been filled in."""
    event = entry.event
    fields: dict[str, list[str]] = {
        "kind": [event.kind],
        "time": [clock.field(event.time_ms)],
        "animal": [str(event.animal)] if event.animal is not None else [],
        "tank": [event.tank] if event.tank is not None else [],
        "since": [clock.field(event.since_ms)] if event.since_ms is not None else [],
        "signs": [str(sign) for sign in event.signs],
        "limb": [event.limb] if event.limb is not None else [],
        "what": [event.what],
        "note": [event.note],
    }
    for name, value in (("carapace_mm", event.carapace_mm), ("mass_g", event.mass_g), ("percent", event.percent)):
        if value is not None:
            fields[name] = [f"{value:g}"]
    for one in event.tested:
        fields[f"tested_{one.quantity}"] = [f"{one.said:g}"]
        fields[f"unit_{one.quantity}"] = [one.unit]
    return fields
