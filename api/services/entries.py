"""Animals and events between their records and the words of the trade. Must not do: check or keep them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

from api.domain.animal import Animal, Limb, Sex
from api.domain.husbandry import EventKind, Husbandry, KitValue, PremoltSign
from api.domain.quantity import Quantity
from api.storage.animal_base import EventRow


@dataclass(frozen=True, slots=True)
class Entry:
    """An event on record. It counts when it is neither withdrawn nor replaced by a correction."""

    id: int
    event: Husbandry
    entered_ms: int
    entered_by: str
    replaces: int | None = None
    replaced_by: int | None = None
    withdrawn_ms: int | None = None
    withdrawn_by: str = ""

    @property
    def standing(self) -> bool:
        """Whether it counts."""
        return self.withdrawn_ms is None and self.replaced_by is None


def animal_body(animal: Animal) -> dict[str, Any]:
    """An animal as it is kept."""
    return {
        "name": animal.name,
        "species": animal.species,
        "sex": str(animal.sex),
        "sex_how": animal.sex_how,
        "origin": animal.origin,
        "hatched": animal.hatched.isoformat() if animal.hatched else None,
        "arrived": animal.arrived.isoformat() if animal.arrived else None,
        "note": animal.note,
    }


def animal_of(body: dict[str, Any]) -> Animal:
    """A kept animal."""
    days = {key: date.fromisoformat(body[key]) if body[key] else None for key in ("hatched", "arrived")}
    return Animal(**{**body, **days, "sex": Sex(body["sex"])})


def event_body(event: Husbandry) -> dict[str, Any]:
    """What an event says besides kind, time, tank and animal, as it is kept: only what was given."""
    body: dict[str, Any] = {
        "since_ms": event.since_ms,
        "signs": [str(sign) for sign in event.signs],
        "limb": str(event.limb) if event.limb is not None else None,
        "carapace_mm": event.carapace_mm,
        "mass_g": event.mass_g,
        "tested": [
            {"quantity": str(one.quantity), "value": one.value, "said": one.said, "unit": one.unit}
            for one in event.tested
        ],
        "percent": event.percent,
        "what": event.what,
        "note": event.note,
    }
    return {key: value for key, value in body.items() if value not in (None, "", [])}


def entry_of(row: EventRow) -> Entry:
    """A kept event."""
    body = dict(row.body)
    body["signs"] = tuple(PremoltSign(sign) for sign in body.get("signs", ()))
    body["tested"] = tuple(
        KitValue(Quantity(one["quantity"]), one["value"], one["said"], one["unit"]) for one in body.get("tested", ())
    )
    if "limb" in body:
        body["limb"] = Limb(body["limb"])
    event = Husbandry(kind=EventKind(row.kind), time_ms=row.time_ms, tank=row.tank, animal=row.animal, **body)
    return Entry(
        row.id, event, row.entered_ms, row.entered_by, row.replaces, row.replaced_by, row.withdrawn_ms, row.withdrawn_by
    )
