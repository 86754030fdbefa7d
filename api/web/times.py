"""RFC 3339 times in and out of the JSON routes. Must not do: guess a zone."""

from __future__ import annotations

from datetime import UTC, datetime

from api.domain.errors import InputError

FIRST_MS = -62_135_596_800_000
"""The first moment RFC 3339 can write: 0001-01-01T00:00:00Z."""


def rfc3339(time_ms: int | None) -> str | None:
    """A time as RFC 3339 UTC with milliseconds; None stays None."""
    if time_ms is None:
        return None
    return datetime.fromtimestamp(time_ms / 1000, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def parse(text: str, name: str) -> int:
    """RFC 3339 to milliseconds.

    Raises InputError naming the parameter.
    """
    try:
        moment = datetime.fromisoformat(text.replace(" ", "+"))
        if moment.tzinfo is None:
            raise ValueError("it has no zone")
        time_ms = round(moment.timestamp() * 1000)
        rfc3339(time_ms)  # a time that cannot be written back is no use either
        return time_ms
    except (ValueError, OverflowError) as error:
        raise InputError(
            f"{name} = {text[:60]!r} is not an RFC 3339 time such as 2026-03-01T08:00:00Z: {error}"
        ) from error
