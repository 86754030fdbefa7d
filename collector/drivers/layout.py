"""The keys that say where in a line each value stands, shared by every driver that reads text.

Must not do: read text itself (``collector/codecs/fields.py`` does).
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from api.domain.tables import Key, Place
from api.domain.tank import Probe
from collector.codecs.fields import FieldLayout

LAYOUT_KEYS = (
    Key("separator", str, ","),
    Key("decimal", str, ".", choices=(".", ",")),
    Key("pattern", str),
    Key("fields", int, low=1, high=1000),
    Key("time_field", int, low=1, high=1000),
)


def field_layout(probe: Probe, options: Mapping[str, Any]) -> FieldLayout:
    """The layout that ``check_layout`` has found sound."""
    pattern = options.get("pattern")
    return FieldLayout(
        values=probe.values,
        separator=options["separator"],
        decimal=options["decimal"],
        pattern=None if pattern is None else re.compile(pattern),
        fields=options["fields"],
        time_field=options["time_field"],
        time_key=options.get("time_key"),
        time_format=options["time_format"],
        match_key=options.get("match_key"),
    )


def check_layout(probe: Probe, options: Mapping[str, Any], place: Place) -> None:
    """Check that every value can be found, and only once.

    Raises RoomFileError.
    """
    if not options["separator"]:
        raise place.wrong("separator is empty.", 'Write for example separator = ";".', "separator")
    if options["decimal"] == "," and "," in options["separator"]:
        raise place.wrong("decimal and separator are both a comma.", 'Write separator = ";".', "decimal")
    seen = set()
    for value in probe.values:
        if value.quantity in seen:
            raise place.wrong(f"gives {value.quantity} twice.", "One value for each quantity of a probe.")
        seen.add(value.quantity)
        if value.field is not None and value.key is not None:
            raise place.wrong(f"{value.quantity} has both field and key.", "Keep one of them.")
    if options.get("pattern") is not None:
        _check_pattern(probe, options["pattern"], place)
        return
    placed = [value for value in probe.values if value.field is not None or value.key is not None]
    if placed and len(placed) != len(probe.values):
        missing = next(value for value in probe.values if value not in placed)
        raise place.wrong(f"{missing.quantity} has neither field nor key.", "Say where in the line it stands.")


def _check_pattern(probe: Probe, text: str, place: Place) -> None:
    try:
        pattern = re.compile(text)
    except re.error as error:
        raise place.wrong(f"pattern is no regular expression: {error}.", key="pattern") from error
    for value in probe.values:
        if str(value.quantity) not in pattern.groupindex:
            todo = f"Name one: (?P<{value.quantity}>...)."
            raise place.wrong(f"pattern has no group named {value.quantity}.", todo, "pattern")
