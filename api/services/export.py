"""Kept readings on their way out: which ones, page by page, and as CSV that no spreadsheet would run.

Must not do: hold more than a page in memory, or change a number.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from api.domain.errors import InputError, NotFound
from api.domain.quantity import MEANING, Quantity
from api.domain.reading import Arrival, KeptReading
from api.services.plan import RoomPlan
from api.storage.base import Channel, Store

COLUMNS = (
    "time", "tank", "probe", "quantity", "raw", "raw_unit", "value", "unit", "flag", "reason", "derived", "arrival",
)  # fmt: skip
ARRIVALS = {Arrival.IN_TIME: "in time", Arrival.LATE: "late", Arrival.WAITING: "waiting"}
PAGE = 5000
RUN = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
"""A text that begins so may be taken for a formula by a spreadsheet, also in its full-width form."""


@dataclass(frozen=True, slots=True)
class Selection:
    """The readings of some channels from a start (inside) to an end (outside); each channel with its tank's id."""

    channels: tuple[tuple[Channel, str], ...]
    start_ms: int
    end_ms: int


class Page(NamedTuple):
    """Some readings of one channel, in time order."""

    channel: Channel
    tank: str
    rows: list[KeptReading]


class Export:
    """Finds readings and gives them out."""

    def __init__(self, store: Store, plan: Callable[[], RoomPlan]) -> None:
        self._store, self._plan = store, plan

    def select(self, tanks: Sequence[str], quantities: Sequence[Quantity], start_ms: int, end_ms: int) -> Selection:
        """The channels of these tanks and quantities; none named means all, also probes without a tank.

        Raises NotFound for a tank that is not there, InputError for a span that makes no sense.
        """
        plan = self._plan()
        for tank in tanks:
            if tank not in plan.tanks:
                known = ", ".join(sorted(plan.tanks)[:20])
                raise NotFound(f"there is no tank {tank[:80]!r}; known: {known or 'none'}")
        if not start_ms < end_ms:
            raise InputError("the span's start must lie before its end")
        homes = {probe.id: probe.tank for probe in plan.probes.values() if probe.tank in plan.tanks}
        found = [
            (channel, homes.get(channel.probe) or "")
            for channel in self._store.readings.channels()
            if (not quantities or channel.quantity in quantities)
            and (not tanks or homes.get(channel.probe) in tanks)
        ]  # fmt: skip
        found.sort(key=lambda one: (one[1] == "", one[1], one[0].probe, one[0].quantity))
        return Selection(tuple(found), start_ms, end_ms)

    def pages(self, selection: Selection) -> Iterator[Page]:
        """The readings, channel by channel; each page is read by itself, so that no long look holds up the store."""
        for channel, tank in selection.channels:
            start_ms = selection.start_ms
            while True:
                rows = self._store.revisions.rows(channel.probe, channel.quantity, start_ms, selection.end_ms, PAGE)
                if rows:
                    yield Page(channel, tank, rows)
                if len(rows) < PAGE:
                    break
                start_ms = rows[-1].time_ms + 1


def csv_of(pages: Iterable[Page]) -> Iterator[str]:
    """Pages as CSV (RFC 4180), first the header."""
    yield ",".join(COLUMNS) + "\r\n"
    for page in pages:
        yield _csv(page)


def _csv(page: Page) -> str:
    out = io.StringIO()
    channel = page.channel
    unit, derived = harmless(MEANING[channel.quantity].unit), "true" if channel.derived else "false"
    start = (harmless(page.tank), harmless(channel.probe), str(channel.quantity))
    csv.writer(out).writerows(
        (
            time, *start, row.raw_value, harmless(row.raw_unit), row.value, unit, int(row.flag), harmless(row.reason),
            derived, ARRIVALS[row.arrival],
        )
        for time, row in zip(times(page.rows), page.rows, strict=True)
    )  # fmt: skip
    return out.getvalue()


def times(rows: Sequence[KeptReading]) -> list[str]:
    """RFC 3339 UTC with milliseconds."""
    moments = np.array([row.time_ms for row in rows], dtype="datetime64[ms]")
    return [f"{text}Z" for text in np.datetime_as_string(moments, unit="ms").tolist()]


def harmless(text: str) -> str:
    """A text as a cell that a spreadsheet shows and never runs."""
    return f"'{text}" if text.startswith(RUN) else text
