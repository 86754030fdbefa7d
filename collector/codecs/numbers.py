"""Numbers as probes write them. Pure; must not do: repair or round."""

from __future__ import annotations

import re
from math import isfinite

NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?\Z")


def number(text: str, decimal: str = ".") -> float:
    """The number that fills all of ``text``.

    Raises ValueError, in plain words, for anything else: empty, ``ERR``, ``NaN``, ``Inf``, a number with a tail.
    """
    text = text.strip()
    plain = text if decimal == "." else text.replace(".", "?").replace(decimal, ".")
    if not NUMBER.match(plain):
        raise ValueError(f"{text[:40]!r} is not a number" if text else "nothing stands there")
    value = float(plain)
    if not isfinite(value):
        raise ValueError(f"{text[:40]!r} is too large a number")
    return value
