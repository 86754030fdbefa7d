"""A form filled in at a tank, as an event. Must not do: decide whether it can be; the service does."""

from __future__ import annotations

from collections.abc import Mapping

from api.domain.animal import Limb
from api.domain.errors import InputError
from api.domain.husbandry import TEST_KIT, EventKind, Husbandry, KitValue, PremoltSign
from api.domain.quantity import MEANING
from api.services.kit import kit_value
from dashboard.clock import Clock

Fields = Mapping[str, list[str]]


def first(fields: Fields, name: str) -> str:
    """A field's text, without space around it; empty when it was not filled in."""
    return next(iter(fields.get(name, [])), "").strip()


def event_of(fields: Fields, clock: Clock, now_ms: int) -> Husbandry:
    """What a form says; an empty time means now.

    Raises InputError.
    """
    try:
        kind = EventKind(first(fields, "kind"))
        signs = tuple(dict.fromkeys(PremoltSign(one) for one in fields.get("signs", [])))
        limb = Limb(first(fields, "limb")) if first(fields, "limb") else None
    except ValueError as error:
        raise InputError(f"this form holds a choice that does not exist: {error}") from error
    return Husbandry(
        kind=kind,
        time_ms=clock.parse(first(fields, "time")) if first(fields, "time") else now_ms,
        tank=first(fields, "tank") or None,
        animal=whole(fields, "animal"),
        since_ms=clock.parse(first(fields, "since")) if first(fields, "since") else None,
        signs=signs,
        limb=limb,
        carapace_mm=number(first(fields, "carapace_mm"), "carapace length"),
        mass_g=number(first(fields, "mass_g"), "mass"),
        tested=tuple(_tested(fields)),
        percent=number(first(fields, "percent"), "share of the water"),
        what=first(fields, "what"),
        note=first(fields, "note"),
    )


def _tested(fields: Fields) -> list[KitValue]:
    found = []
    for quantity in TEST_KIT:
        said = number(first(fields, f"tested_{quantity}"), MEANING[quantity].label)
        if said is not None:
            found.append(kit_value(quantity, said, first(fields, f"unit_{quantity}") or MEANING[quantity].unit))
    return found


def whole(fields: Fields, name: str) -> int | None:
    """A record's number.

    Raises InputError.
    """
    text = first(fields, name)
    if not text:
        return None
    if not (text.isascii() and text.isdigit() and len(text) < 19):
        raise InputError(f"{name}: {text[:40]!r} is not the number of a record")
    return int(text)


def number(text: str, what: str) -> float | None:
    """A number as a person types it, with a point or a comma; None for nothing.

    Raises InputError.
    """
    if not text:
        return None
    try:
        value = float(text.replace("\N{MINUS SIGN}", "-").replace(",", "."))
    except ValueError as error:
        raise InputError(f"{what}: {text[:40]!r} is not a number such as 21.5") from error
    if not -1e9 < value < 1e9:
        raise InputError(f"{what}: {text[:40]!r} is no amount of anything in a tank")
    return value
