"""Time stamps for readings that carry none of their own, from a wall clock that may be unset, jump or be set back.

While the wall clock cannot be believed, stamps are milliseconds since boot: small numbers, which ``held.py`` keeps
aside and dates later. The last digit of a stamp tells the stretch: each time a believed clock is set back a new
stretch begins, so that no stamp is ever given twice. Must not do: set a clock, or keep a reading.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime

from api.domain.senml import ABSOLUTE_FROM_S
from api.domain.words import duration
from collector.hands import Hands
from collector.hands import wall_ms as now_ms

__all__ = ["Clock", "Past", "Stamper", "date_words", "is_dated", "now_ms"]

DATED_FROM_MS = ABSOLUTE_FROM_S * 1000
"""Smaller times are since boot, or relative on the wire (RFC 8428, 4.5.3): no dated reading has one."""
BUILT_MS = 1_767_225_600_000
"""2026-01-01: no reading of this program is older than the program."""
JUMP_MS = 300_000
"""A change of the wall clock against the time since boot by more is a jump; less is followed smoothly."""
SETTLE_MS = 240_000
"""How long a clock that nobody confirms must stay as it is before it is believed: less than a probe's grace time."""
NEAR_MS = 3_600_000
"""A clock without battery goes on after a power cut where it was saved, so it stands near the last reading."""
GRAIN_MS = 10
"""Stamps of one probe are this far apart at least; the last digit is left for the stretch."""


def is_dated(time_ms: int) -> bool:
    """Whether a reading's time is a date, not milliseconds since boot."""
    return time_ms >= DATED_FROM_MS


@dataclass(frozen=True, slots=True)
class Past:
    """What earlier runs of the collector left: their boot, what they believed, the newest stamp of each stretch."""

    boot_id: str = ""
    offset_ms: int = 0
    stretch: int = 0
    newest_ms: tuple[int, ...] = (0,) * GRAIN_MS


@dataclass(frozen=True, slots=True)
class Moment:
    """Now, as stamps need it: ``offset_ms`` plus time since boot is the date; None while there is none.

    ``since_ms`` is the time since boot from which there was none, ``adopted_ms`` the offset that ended that.
    """

    boot_ms: int
    offset_ms: int | None
    stretch: int
    adopted_ms: int
    since_ms: int


class Clock:
    """Decides whether the wall clock is believed; all calls may come from any thread."""

    def __init__(self, hands: Hands, past: Past | None = None, built_ms: int = BUILT_MS) -> None:
        past = past or Past()
        self._hands, self._built_ms, self._lock = hands, built_ms, threading.Lock()
        self.boot_id, self._stretch, self._newest_ms = hands.boot_id, past.stretch, list(past.newest_ms)
        boot_ms = hands.boot_ms()
        raw_ms = hands.wall_ms() - boot_ms
        self._raw_ms = raw_ms
        self._offset_ms: int | None = None
        self._adopted_ms = self._eased_ms = 0
        self._undated_since_ms = self._changed_ms = boot_ms
        same_boot, moved_ms = past.boot_id == hands.boot_id, raw_ms - past.offset_ms
        self._jump_ms = moved_ms if same_boot and abs(moved_ms) > JUMP_MS else 0
        self._floor_ms = 0 if same_boot else past.newest_ms[past.stretch]
        left_ms = raw_ms + boot_ms - self._floor_ms
        self._behind = left_ms <= 0 and not hands.battery
        self._doubtful = self._floor_ms > 0 and left_ms < NEAR_MS and (not hands.battery or left_ms <= 0)
        self._plan: tuple[int, int] | None = None
        self._spent = False

    def read(self) -> Moment:
        """Now; the time since boot is a whole number of grains."""
        with self._lock:
            boot_ms = self._look()
            since_ms = _grains(self._undated_since_ms)
            return Moment(_grains(boot_ms), self._offset_ms, self._stretch, self._adopted_ms, since_ms)

    def now_ms(self) -> int:
        """The date as it is believed, or the milliseconds since boot while none is."""
        moment = self.read()
        return moment.boot_ms + (moment.offset_ms or 0)

    def used(self, time_ms: int) -> None:
        """A stamp that was given: no later stretch with its last digit may begin before it."""
        with self._lock:
            stretch = time_ms % GRAIN_MS
            self._newest_ms[stretch] = max(self._newest_ms[stretch], time_ms)

    def plan(self, first_boot_ms: Callable[[], int | None]) -> tuple[int, int] | None:
        """Offset and stretch by which held readings can be dated, the first of ``first_boot_ms``; None: not yet.

        The first plan holds until it is adopted or the clock jumps.
        """
        with self._lock:
            self._look()
            if self._offset_ms is not None or self._doubt():
                self._plan = None
            elif self._plan is None:
                first_ms = first_boot_ms()
                since_ms = self._undated_since_ms if first_ms is None else min(self._undated_since_ms, first_ms)
                self._plan = self._new_plan(since_ms // GRAIN_MS * GRAIN_MS)
                self._spent = self._plan is None
            return self._plan

    def _new_plan(self, first_ms: int) -> tuple[int, int] | None:
        """The present stretch while its stamps go on rising, else the next one that is free from then on.

        A little behind the newest stamp, the offset is larger than true by that much, to be eased later.
        """
        rounded_ms = _grains(self._raw_ms)
        behind_ms = self._newest_ms[self._stretch] - (first_ms + rounded_ms + self._stretch)
        if 0 <= behind_ms < JUMP_MS // 2:
            return rounded_ms + self._stretch + _grains(behind_ms + 1), self._stretch
        for turn in range(GRAIN_MS):
            stretch = (self._stretch + turn) % GRAIN_MS
            if self._newest_ms[stretch] < first_ms + rounded_ms + stretch:
                return rounded_ms + stretch, stretch
        return None

    def adopt(self, offset_ms: int, stretch: int) -> Past:
        """From here on stamps are dates: everything held was dated by this plan. Returns what is to be remembered."""
        with self._lock:
            self._offset_ms = self._adopted_ms = offset_ms
            self._stretch, self._eased_ms = stretch, self._hands.boot_ms()
            self._jump_ms, self._plan = 0, None
            self._behind = self._doubtful = False
            return Past(self.boot_id, offset_ms, stretch, tuple(self._newest_ms))

    def doubt(self) -> str:
        """Why the wall clock is not believed, as words with what to do; empty when it is."""
        with self._lock:
            self._look()
            if self._offset_ms is not None:
                return ""
            return self._doubt() or ("the computer's clock was set back too often: set it right" if self._spent else "")

    def _look(self) -> int:
        """Take note of where the wall clock stands against the time since boot, which is returned."""
        boot_ms = self._hands.boot_ms()
        before_ms, self._raw_ms = self._raw_ms, self._hands.wall_ms() - boot_ms
        ahead_ms = 0 if self._offset_ms is None else self._offset_ms - self._raw_ms
        if abs(self._raw_ms - before_ms) > JUMP_MS or ahead_ms > JUMP_MS:
            self._jump_ms, self._changed_ms = (self._raw_ms - before_ms) or -ahead_ms, boot_ms
            self._behind, self._plan = False, None
            if self._offset_ms is not None:
                self._offset_ms, self._undated_since_ms = None, boot_ms
        elif self._offset_ms is not None:
            self._ease(self._offset_ms, boot_ms)
        return boot_ms

    def _ease(self, offset_ms: int, boot_ms: int) -> None:
        """Follow small changes: forward at once, back at half speed, so that stamps go on rising."""
        wanted_ms = _grains(self._raw_ms) + self._stretch
        step_ms = (boot_ms - self._eased_ms) // 2 // GRAIN_MS * GRAIN_MS
        if wanted_ms >= offset_ms:
            self._offset_ms, self._eased_ms = wanted_ms, boot_ms
        elif step_ms:
            self._offset_ms, self._eased_ms = max(wanted_ms, offset_ms - step_ms), boot_ms

    def _doubt(self) -> str:
        boot_ms = self._hands.boot_ms()
        wall_ms = self._raw_ms + boot_ms
        if wall_ms < self._built_ms:
            return (
                f"the computer's clock is not set, it says {date_words(wall_ms)}: set it, or let it reach a time server"
            )
        if self._hands.synced():
            return ""
        if self._behind:
            kept = date_words(self._floor_ms)
            return (
                f"the computer's clock says {date_words(wall_ms)}, yet readings up to {kept} are kept:"
                " set the clock, or tell that it is right (--believe-clock)"
            )
        if self._jump_ms and boot_ms - self._changed_ms < SETTLE_MS:
            by = f"{'back' if self._jump_ms < 0 else 'forward'} by {duration(abs(self._jump_ms) / 1000)}"
            return f"the computer's clock was just set {by}; waiting whether it stays so"
        if self._doubtful and boot_ms < SETTLE_MS:
            return "the computer has just started and nothing confirms its clock yet; waiting for a time server"
        return ""


def _grains(time_ms: int) -> int:
    return -(-time_ms // GRAIN_MS) * GRAIN_MS


def date_words(time_ms: int) -> str:
    """A date for a person, to the minute."""
    return datetime.fromtimestamp(time_ms / 1000, UTC).strftime("%Y-%m-%d %H:%M UTC")


class Stamper:
    """Gives each line of one probe its own time, rising strictly, so that no line is taken for another's copy.

    Without a clock the caller's time is taken. ``lasts`` are the newest stamps of earlier runs, one a stretch;
    ``boot_ms`` is the newest stamp of this boot that is still held undated.
    """

    def __init__(self, clock: Clock | None = None, lasts: Mapping[int, int] | None = None, boot_ms: int = 0) -> None:
        self._clock, self._lasts, self._boot_ms = clock, dict(lasts or {}), boot_ms
        self._undated = boot_ms > 0
        self._mark: int | None = None
        self.last_ms: int | None = None

    def stamp(self, at_ms: int) -> int:
        """A time for the next line, which came at ``at_ms`` as the clock's ``now_ms`` told it then."""
        if self._clock is None:
            self.last_ms = at_ms if self.last_ms is None else max(at_ms, self.last_ms + 1)
            return self.last_ms
        moment = self._clock.read()
        came_ms = max(_came(at_ms, moment), self._boot_ms + GRAIN_MS)
        before_ms, self._boot_ms = self._boot_ms, came_ms
        if moment.offset_ms is None:
            self._undated, self.last_ms = True, came_ms
            return came_ms
        last_ms = self._lasts.get(moment.stretch, 0)
        if self._undated:
            last_ms = max(last_ms, before_ms + moment.adopted_ms)
        self.last_ms = self._mark = max(came_ms + moment.offset_ms, last_ms + GRAIN_MS)
        self._lasts[moment.stretch], self._undated = self.last_ms, False
        self._clock.used(self.last_ms)
        return self.last_ms

    def mark(self) -> int | None:
        """The newest dated stamp since the last call, to be kept on the disk with its reading."""
        mark, self._mark = self._mark, None
        return mark


def _came(at_ms: int, moment: Moment) -> int:
    """The time since boot, in whole grains, of a moment told as a date or as a time since boot; else: just now."""
    boot_ms = at_ms
    if is_dated(at_ms):
        boot_ms = at_ms - moment.offset_ms if moment.offset_ms is not None else moment.boot_ms
    came_ms = _grains(boot_ms) if 0 <= moment.boot_ms - boot_ms <= JUMP_MS else moment.boot_ms
    return came_ms if moment.offset_ms is not None else max(came_ms, moment.since_ms)
