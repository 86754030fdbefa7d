"""The wire format of readings: SenML JSON, RFC 8428, to and from ``RawReading``.

Pure: bytes in, values out. A pack that is not SenML raises InputError; one bad record only spoils itself.
Records carry the name ``<probe id>/<quantity>``.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from api.domain.errors import InputError
from api.domain.quantity import Quantity
from api.domain.reading import RawReading

MEDIA_TYPE = "application/senml+json"
ABSOLUTE_FROM_S = 2**28
"""RFC 8428 section 4.5.3: smaller times are relative to now."""
LATEST_S = 2**40
VERSION = 10
PLAIN = frozenset({"n", "u", "v", "t"})
KNOWN = frozenset({"bn", "bt", "bu", "bv", "bs", "bver", "n", "u", "v", "vs", "vb", "vd", "s", "t", "ut"})
QUANTITIES = {str(q): q for q in Quantity}


@dataclass(frozen=True, slots=True)
class Refused:
    """A record that cannot become a reading: its place in the pack, and why.

    ``later``: it may become one when it is sent again, so its sender should not let go of it.
    """

    index: int
    reason: str
    later: bool = False

    def body(self) -> dict[str, int | str | bool]:
        """As it stands in an answer."""
        return {"index": self.index, "reason": self.reason, **({"later": True} if self.later else {})}


def decode(body: bytes, now_ms: int) -> list[RawReading | Refused | None]:
    """Read a pack; one item a record, None where a record only sets base values.

    Raises InputError when the body is not a SenML JSON array at all.
    """
    try:
        records = json.loads(body)
    except (ValueError, RecursionError) as error:
        raise InputError(f"the body is not JSON: {error}") from error
    if not isinstance(records, list) or not records:
        raise InputError("a SenML pack is a JSON array of at least one record (RFC 8428)")
    base: dict[str, Any] = {}
    out: list[RawReading | Refused | None] = []
    for index, record in enumerate(records):
        if not isinstance(record, dict):
            out.append(Refused(index, "the record is not a JSON object"))
            continue
        try:
            out.append(_record(record, base, now_ms))
        except InputError as error:
            out.append(Refused(index, str(error)))
    return out


def _record(record: dict[str, Any], base: dict[str, Any], now_ms: int) -> RawReading | None:
    if not base and record.keys() == PLAIN:
        plain = _plain(record)
        if plain is not None:
            return plain
    if "bn" in record or "bt" in record or "bu" in record or "bv" in record or "bver" in record:
        _take_base(record, base)
    if not KNOWN.issuperset(record):
        _refuse_must_understand(record)
    if base:
        _refuse_unusable_base(base)
    if "n" not in record and "v" not in record and not {"vs", "vb", "vd", "s"} & record.keys():
        return None
    name = base.get("bn", "") + _text(record, "n")
    probe, slash, quantity_name = name.rpartition("/")
    quantity = QUANTITIES.get(quantity_name)
    if not slash or quantity is None:
        raise InputError(f"name {name[:120]!r} is not <probe id>/<quantity>; quantities: {', '.join(QUANTITIES)}")
    if "v" not in record and "bv" not in base:
        raise InputError(f"{name} has no numeric value ('v')")
    value = _number(record, "v") + base.get("bv", 0.0)
    time_s = _number(record, "t") + base.get("bt", 0.0)
    if not -LATEST_S < time_s < LATEST_S:
        raise InputError(f"time {time_s:g} s of {name[:80]!r} is not a time")
    time_ms = round(time_s * 1000) if time_s >= ABSOLUTE_FROM_S else now_ms + round(time_s * 1000)
    unit = _text(record, "u") or base.get("bu", "")
    if not unit:
        raise InputError(f"{name} has no unit ('u' or 'bu')")
    return RawReading(probe, quantity, time_ms, value, unit)


def _plain(record: dict[str, Any]) -> RawReading | None:
    """The record nearly every collector sends, absolute and complete, on a short way; None: take the long one."""
    name, unit, value, time_s = record["n"], record["u"], record["v"], record["t"]
    if type(name) is str and type(unit) is str and type(value) is float and type(time_s) in (int, float):
        probe, _, quantity_name = name.rpartition("/")
        quantity = QUANTITIES.get(quantity_name)
        if quantity is not None and unit and ABSOLUTE_FROM_S <= time_s < LATEST_S:
            return RawReading(probe, quantity, round(time_s * 1000), value, unit)
    return None


def _take_base(record: dict[str, Any], base: dict[str, Any]) -> None:
    for key, read in (("bn", _text), ("bu", _text), ("bt", _number), ("bv", _number), ("bver", _number)):
        if key in record:
            base[key] = None  # until it is known to be usable: what follows must not lean on an older one
            try:
                base[key] = read(record, key)
            except InputError:
                continue


def _refuse_unusable_base(base: dict[str, Any]) -> None:
    """A base value holds for all records after it; one that cannot be used spoils them until it is set anew."""
    for key, value in base.items():
        if value is None:
            raise InputError(f"the base value {key!r} given here or before cannot be used")
    if base.get("bver", VERSION) > VERSION:
        raise InputError(f"SenML version {base['bver']:g} is newer than {VERSION}")


def _refuse_must_understand(record: dict[str, Any]) -> None:
    """RFC 8428 section 4.4: a label ending in '_' must be understood or the record refused."""
    for key in record:
        if key.endswith("_"):
            raise InputError(f"label {key[:40]!r} must be understood and is not")


def _number(record: dict[str, Any], key: str) -> float:
    value = record.get(key, 0.0)
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise InputError(f"{key!r} is {_shown(value)}, not a number")
    try:
        number = float(value)
    except OverflowError as error:
        raise InputError(f"{key!r} is too large a number") from error
    if number != number or number in (float("inf"), float("-inf")):
        raise InputError(f"{key!r} is {number}, not a finite number")
    return number


def _text(record: dict[str, Any], key: str) -> str:
    value = record.get(key, "")
    if not isinstance(value, str):
        raise InputError(f"{key!r} is {_shown(value)}, not text")
    return value


def _shown(value: Any) -> str:
    return "a list or an object" if isinstance(value, list | dict) else json.dumps(value)[:40]


def encode(readings: Iterable[RawReading] | Sequence[RawReading]) -> bytes:
    """Write readings as a pack, one record each, names and times absolute."""
    records = [{"n": f"{r.probe}/{r.quantity}", "u": r.unit, "v": r.value, "t": r.time_ms / 1000} for r in readings]
    return json.dumps(records, separators=(",", ":")).encode()
