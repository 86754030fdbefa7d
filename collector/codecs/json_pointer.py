"""JSON Pointer, RFC 6901: a path such as ``/water/0/t`` to one place in a JSON document.

Pure. Must not do: guess a place that is not there.
"""

from __future__ import annotations

import re
from typing import Any

INDEX = re.compile(r"(?:0|[1-9][0-9]{0,8})\Z")


def tokens(pointer: str) -> tuple[str, ...]:
    """The steps of a pointer; none for the whole document.

    Raises ValueError, in plain words, when it is no pointer.
    """
    if pointer == "":
        return ()
    if not pointer.startswith("/"):
        raise ValueError("begins with no slash")
    if re.search(r"~(?![01])", pointer):
        raise ValueError("has a ~ that is neither ~0 (for ~) nor ~1 (for /)")
    return tuple(step.replace("~1", "/").replace("~0", "~") for step in pointer[1:].split("/"))


def found(document: Any, steps: tuple[str, ...]) -> Any:
    """What stands in the document at the end of the steps.

    Raises ValueError, in plain words, when nothing does.
    """
    place = document
    for depth, step in enumerate(steps, 1):
        if isinstance(place, dict) and step in place:
            place = place[step]
        elif isinstance(place, list) and INDEX.match(step) and int(step) < len(place):
            place = place[int(step)]
        else:
            raise ValueError(f"{written(steps[:depth])[:80]!r} is not there")
    return place


def written(steps: tuple[str, ...]) -> str:
    """The steps as a pointer."""
    return "".join("/" + step.replace("~", "~0").replace("/", "~1") for step in steps)
