"""The checking half of the line: a pack's raw readings to checked ones, each oxygen with its other quantity.

Readings come in the order of time; those older than their channel's newest wait for ``again.py``. Must not do: keep.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from api.domain.reading import Arrival, CheckedReading, Flag, RawReading
from api.services.checked import Checked, with_flag
from api.services.company import age_ms
from api.services.convert import convert
from api.services.leaning import Leaning
from api.services.memory import Layered
from api.services.partners import Partners, partner_of, place_of
from api.services.plan import ChannelPlan, RoomPlan
from api.services.streams import Key, Streams
from api.storage.base import LATE, Channel, Revision, Store

WAITS = "came late, after newer readings; its checks are made when the rest has come"


class Station:
    """Converts, checks and derives; remembers each channel's newest time."""

    def __init__(self, store: Store, plan: RoomPlan) -> None:
        self._store = store
        self.newest: Layered[Key, int] = Layered()
        self.streams = Streams(store)
        self._partners = Partners(store)
        self._leaning = Leaning(self._partners)
        channels = store.readings.channels()
        for channel in channels:
            self.newest.settled[channel.probe, channel.quantity] = channel.last_ms
        self._partners.load(channels, plan)
        self._leaning.load(channels, plan)
        self.done()
        self.settle(True)

    def begin(self) -> None:
        """A new pack."""
        self.newest.begin()
        self.streams.begin()
        self._partners.begin()
        self._leaning.begin()

    def done(self) -> None:
        """The pack's work succeeded."""
        self.newest.done()
        self.streams.done()
        self._partners.done()
        self._leaning.done()

    def settle(self, kept: bool) -> None:
        """The transaction ended."""
        self.newest.settle(kept)
        self.streams.settle(kept)
        self._partners.settle(kept)
        self._leaning.settle(kept)

    def check(self, raws: Sequence[RawReading], plan: RoomPlan, late_before_ms: int) -> Checked:
        """Check a pack, its readings in the order of time and temperatures first."""
        out = Checked()
        channels = [plan.channel(raw.probe, raw.quantity) for raw in raws]
        converted = [convert(raw, channel) for raw, channel in zip(raws, channels, strict=True)]
        for reading, channel in zip(converted, channels, strict=True):
            if channel.company:
                self.streams.hear(reading, channel)
        for raw, reading, channel in zip(raws, converted, channels, strict=True):
            key = (raw.probe, raw.quantity)
            known_ms = self.newest.get(key)
            if known_ms is not None and raw.time_ms <= known_ms:
                flag, reason = (reading.flag, reading.reason) if reading.reason else (Flag.NOT_EVALUATED, WAITS)
                out.behind.append(replace(reading, flag=flag, reason=reason, arrival=Arrival.WAITING))
                continue
            if raw.time_ms < late_before_ms:
                reading = replace(reading, arrival=Arrival.LATE)
            self.newest.put(key, raw.time_ms)
            self._one(reading, channel, plan, out)
        return out

    def _one(self, reading: CheckedReading, channel: ChannelPlan, plan: RoomPlan, out: Checked) -> None:
        step = self.streams.step(reading, channel, plan)
        checked = with_flag(reading, step.flag, step.reason)
        out.take(checked)
        revised = step.revised
        if revised is not None:
            out.revise(Revision(reading.probe, reading.quantity, *revised))
        place = place_of(reading.probe, reading.quantity, plan)
        if place is not None:
            if revised is not None:
                before = self._partners.revise(place, reading.probe, revised.time_ms, revised.flag)
                if before is not None:
                    self._leaning.revised(place, revised.time_ms, before, revised.flag, plan, out)
            partner = partner_of(checked)
            if partner is not None:
                self._partners.remember(place, partner)
                self._leaning.heard(place, partner, plan, out)
        if channel.company:
            self._ask_again(reading, channel, plan, out)
        derived = self._leaning.take(checked, revised, channel, plan, out)
        if derived is not None:
            out.take(derived)
            self.newest.put((derived.probe, derived.quantity), derived.time_ms)

    def _ask_again(self, reading: CheckedReading, channel: ChannelPlan, plan: RoomPlan, out: Checked) -> None:
        """Those it keeps company may already have been asked, without it, whether they moved alone."""
        for probe in channel.company:
            key = (probe, reading.quantity)
            newest_ms = self.newest.get(key)
            if newest_ms is not None and newest_ms >= reading.time_ms:
                if self.streams.asked_company_since(key, reading.time_ms):
                    last_ms = reading.time_ms + company_reach_ms(plan.channel(*key))
                    out.wait(key, LATE, reading.time_ms, min(newest_ms, last_ms) + 1)

    def made_again(self, key: Key, plan: RoomPlan, last_ms: int | None, *, checked: bool) -> None:
        """A channel's past was gone over: what is remembered of it begins anew.

        ``last_ms`` is the newest reading whose derived value changed, None where none did; ``checked``: whether its
        own values and checks were made anew as well.
        """
        if checked:
            self.streams.drop([key])
            place = place_of(*key, plan)
            if place is not None:
                self._partners.load(self._store.readings.channels(), plan, place)
        if last_ms is not None:
            self._leaning.made_again(key, last_ms)

    def past_kept(self, key: Key, plan: RoomPlan, last_ms: int, channels: Sequence[Channel]) -> None:
        """Recorded readings of a channel were kept, or changed, up to a time: what is remembered of it follows."""
        newest_ms, limits = self.newest.get(key), plan.channel(*key).limits
        if newest_ms is None or last_ms > newest_ms:
            self.newest.put(key, last_ms)
            self._leaning.load([Channel(*key, last_ms=last_ms)], plan)
        if newest_ms is None or last_ms >= newest_ms - round((limits.past_s + (limits.gap_s or 0.0)) * 1000):
            self.streams.drop([key])
        place = place_of(*key, plan)
        if place is not None and last_ms >= self._partners.since_ms(place):
            beside = [one for one in channels if one.quantity is key[1]]
            self._partners.load(beside, plan, place)

    def past_derived(self, key: Key, other: Key, last_ms: int) -> None:
        """What is derived from a channel was kept, or changed, up to a time."""
        newest_ms = self.newest.get(other)
        if newest_ms is None or last_ms > newest_ms:
            self.newest.put(other, last_ms)
        self._leaning.made_again(key, last_ms)


def company_reach_ms(channel: ChannelPlan) -> int:
    """How long after a reading it can matter to one that it keeps company. [ms]"""
    return age_ms(channel) + round((channel.limits.gap_s or 0.0) * 1000)
