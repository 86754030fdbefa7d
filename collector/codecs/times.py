"""Times as probes and files write them, to whole milliseconds UTC.

Pure. Must not do: guess a zone or a format.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from collector.codecs.numbers import number

FORMATS = ("rfc3339", "unix", "unix_ms")
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
EARLIEST_MS = 2**28 * 1000
"""July 1978. RFC 8428 (4.5.3) takes smaller times for "so long ago", so they cannot be sent on."""
LATEST_MS = 7_258_118_400_000
"""The year 2200: later than any reading, earlier than milliseconds taken for seconds."""


def time_ms(text: str, style: str) -> int:
    """The time in ``text``.

    Raises ValueError, in plain words, when it is none or cannot be true.
    """
    text = text.strip()
    if style == "rfc3339":
        found = _rfc3339(text)
    else:
        found = round(number(text) * (1000 if style == "unix" else 1))
    if not EARLIEST_MS <= found <= LATEST_MS:
        raise ValueError(f"time {text[:40]!r} is not between 1978 and 2200; is the probe's clock set?")
    return found


def any_time_ms(text: str) -> int:
    """A time that is either RFC 3339 or Unix seconds, told apart by its shape.

    Raises ValueError when it is neither.
    """
    return time_ms(text, "rfc3339" if "-" in text[1:] and ":" in text else "unix")


def _rfc3339(text: str) -> int:
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise ValueError(f"time {text[:40]!r} is not like 2031-05-04T03:10:00Z") from None
    if moment.tzinfo is None:
        raise ValueError(f"time {text[:40]!r} names no zone; write Z or +02:00 behind it")
    try:
        return (moment - EPOCH) // timedelta(milliseconds=1)
    except OverflowError:
        raise ValueError(f"time {text[:40]!r} is out of range") from None
