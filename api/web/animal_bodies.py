"""JSON bodies of animals and events, out and in. Must not do: ask or change anything."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field

from api.domain.animal import Animal, Limb, LimbState, Sex
from api.domain.errors import InputError
from api.domain.husbandry import EventKind, Husbandry, KitValue, PremoltSign
from api.domain.quantity import Quantity
from api.services.animals import AnimalNow, Newcomer, remarks
from api.services.entries import Entry
from api.services.kit import kit_value
from api.services.molts import MoltOutlook
from api.web.bodies import plain
from api.web.times import parse, rfc3339

Finite = Annotated[float, Field(allow_inf_nan=False)]
Text = Annotated[str, Field(max_length=2000)]
DESCRIPTION = ("name", "species", "sex", "sex_how", "origin", "hatched", "arrived", "note")


class AnimalIn(BaseModel):
    """What is said of an animal; only what is given is taken."""

    model_config = ConfigDict(extra="forbid")
    person: Text
    name: Text | None = None
    species: Text = ""
    sex: Sex = Sex.UNKNOWN
    sex_how: Text = ""
    origin: Text = ""
    hatched: date | None = None
    arrived: date | None = None
    note: Text = ""
    tank: Text | None = None
    carapace_mm: Finite | None = None
    mass_g: Finite | None = None
    measured: date | None = None
    last_molt: date | None = None
    limbs: dict[Limb, LimbState] = {}
    confirm: bool = False

    def newcomer(self, before: Animal | None = None) -> Newcomer:
        """An animal as described; what is not given stays as it was.

        Raises InputError.
        """
        if before is None and self.name is None:
            raise InputError("name: give the animal a name or tag")
        given = {key: getattr(self, key) for key in DESCRIPTION if before is None or key in self.model_fields_set}
        old = {key: getattr(before, key) for key in DESCRIPTION} if before is not None else {}
        return Newcomer(
            Animal(**{**old, **given}),
            self.tank,
            self.carapace_mm,
            self.mass_g,
            self.measured,
            self.last_molt,
            self.limbs,
        )


class KitValueIn(BaseModel):
    """One value of a test kit, as read off."""

    model_config = ConfigDict(extra="forbid")
    quantity: Quantity
    value: Finite
    unit: Annotated[str, Field(max_length=40)]

    def tested(self) -> KitValue:
        """In the canonical unit.

        Raises InputError.
        """
        return kit_value(self.quantity, self.value, self.unit)


class EventIn(BaseModel):
    """An event as it is entered; ``time`` is now when it is left out."""

    model_config = ConfigDict(extra="forbid")
    kind: EventKind
    person: Text
    time: Text | None = None
    since: Text | None = None
    tank: Text | None = None
    animal: int | None = Field(default=None, ge=1, lt=2**63)
    signs: list[PremoltSign] = []
    limb: Limb | None = None
    carapace_mm: Finite | None = None
    mass_g: Finite | None = None
    tested: list[KitValueIn] = Field(default=[], max_length=20)
    percent: Finite | None = None
    what: Text = ""
    note: Text = ""
    replaces: int | None = Field(default=None, ge=1, lt=2**63)
    confirm: bool = False

    def event(self, now_ms: int) -> Husbandry:
        """The event.

        Raises InputError.
        """
        return Husbandry(
            kind=self.kind,
            time_ms=now_ms if self.time is None else parse(self.time, "time"),
            tank=self.tank,
            animal=self.animal,
            since_ms=None if self.since is None else parse(self.since, "since"),
            signs=tuple(dict.fromkeys(self.signs)),
            limb=self.limb,
            carapace_mm=self.carapace_mm,
            mass_g=self.mass_g,
            tested=tuple(one.tested() for one in self.tested),
            percent=self.percent,
            what=self.what,
            note=self.note,
        )


def animal_body(now: AnimalNow, next_molt: MoltOutlook | None, *, whole: bool = False) -> dict[str, Any]:
    """An animal; ``whole``: with all its events add up to. ``next_molt`` None: nothing is foretold."""
    life = now.life
    size = life.sizes[-1] if life.sizes else None
    last = life.last_molt
    body = {
        "id": now.id,
        **{key: getattr(now.animal, key) for key in DESCRIPTION},
        "remarks": remarks(now.animal),
        "alive": life.alive,
        "died": rfc3339(life.died_ms),
        "tank": life.tank,
        "stage": now.stage,
        "soft_until": rfc3339(now.soft_until_ms),
        "hard_from": rfc3339(now.hard_from_ms),
        "last_molt": plain(last) if last is not None else None,
        "carapace_mm": life.carapace_mm,
        "mass_g": next((one.mass_g for one in reversed(life.sizes) if one.mass_g is not None), None),
        "measured": rfc3339(size.time_ms) if size is not None else None,
        "limbs": {limb: life.limbs.get(limb, LimbState.PRESENT) for limb in Limb},
        "next_molt": _next_molt(next_molt) if next_molt is not None else None,
        "photograph": f"/api/v1/animals/{now.id}/photograph" if now.photographed else None,
    }
    if whole:
        body |= {
            "tanks": plain(life.stays),
            "molts": plain(life.molts),
            "sizes": plain(life.sizes),
            "signs": plain(life.signs),
            "clutches": plain(life.clutches),
            "mated": [rfc3339(time_ms) for time_ms in life.mated_ms],
        }
    return body


def _next_molt(one: MoltOutlook) -> dict[str, Any]:
    return {
        "within_3_days": one.within_3d,
        "within_7_days": one.within_7d,
        "within_14_days": one.within_14d,
        "already": one.already,
        "window_50": [rfc3339(time_ms) for time_ms in one.window_50],
        "window_80": [rfc3339(time_ms) for time_ms in one.window_80],
        "held": one.held,
        "rests_on": one.basis.words,
        "warnings": one.warnings,
    }


def event_body(entry: Entry) -> dict[str, Any]:
    """An event as it is on record."""
    body: dict[str, Any] = plain(entry.event)
    return {
        "id": entry.id,
        **body,
        "entered": rfc3339(entry.entered_ms),
        "entered_by": entry.entered_by,
        "replaces": entry.replaces,
        "replaced_by": entry.replaced_by,
        "withdrawn": rfc3339(entry.withdrawn_ms),
        "withdrawn_by": entry.withdrawn_by,
    }
