"""The newest reading of every channel, judged, with its trend. Must not do: show an old value as a current one."""

from __future__ import annotations

from collections.abc import Callable

from api.domain.quantity import Quantity
from api.domain.reading import Flag
from api.domain.tank import Probe
from api.judge.assess import UNKNOWN, assess
from api.judge.check_words import NEWEST
from api.judge.outlook import NOTHING, Outlook
from api.services.answers import Latest
from api.services.plan import RoomPlan
from api.services.straight import not_behind, straight_line
from api.services.watch import quiet_after_s
from api.storage.base import Channel, Store

Ask = Callable[[str, Quantity], Outlook]
ByProbe = dict[str, tuple[tuple[Latest, ...], dict[Quantity, Outlook]]]


class LatestMaker:
    """Makes ``Latest`` answers."""

    def __init__(self, store: Store, plan: Callable[[], RoomPlan], started_ms: int, ask: Ask | None = None) -> None:
        self._store, self._plan, self._started_ms, self._ask = store, plan, started_ms, ask

    def all(self, now_ms: int, tank: str | None = None) -> ByProbe:
        """Per probe its channels' newest readings and outlooks; with ``tank``, of that tank's probes only."""
        plan = self._plan()
        channels: dict[str, list[Channel]] = {}
        for channel in self._store.readings.channels():
            channels.setdefault(channel.probe, []).append(channel)
        for probe in plan.probes.values():
            seen = channels.setdefault(probe.id, [])
            have = {channel.quantity for channel in seen}
            seen.extend(Channel(probe.id, value.quantity) for value in probe.values if value.quantity not in have)
        wanted = {probe.id for probe in plan.probes_of(tank)} if tank is not None else channels.keys()
        return {probe: self._probe(probe, channels[probe], plan, now_ms) for probe in channels if probe in wanted}

    def _probe(
        self, probe_id: str, channels: list[Channel], plan: RoomPlan, now_ms: int
    ) -> tuple[tuple[Latest, ...], dict[Quantity, Outlook]]:
        probe = plan.probes.get(probe_id)
        quiet = self._quiet(probe, channels, plan, now_ms)
        latests, outlooks = [], {}
        for channel in sorted(channels, key=lambda one: list(Quantity).index(one.quantity)):
            latest, outlook = self._one(channel, quiet, plan, now_ms)
            latests.append(latest)
            if outlook is not None:
                outlooks[channel.quantity] = outlook
        return tuple(latests), outlooks

    def _quiet(self, probe: Probe | None, channels: list[Channel], plan: RoomPlan, now_ms: int) -> bool:
        last_ms = max(channel.last_ms for channel in channels)
        after_s = quiet_after_s(probe, plan) if probe is not None else 900.0
        return now_ms - last_ms > after_s * 1000

    def _one(self, channel: Channel, quiet: bool, plan: RoomPlan, now_ms: int) -> tuple[Latest, Outlook | None]:
        care = plan.channel(channel.probe, channel.quantity).care
        usable = channel.value is not None and channel.flag <= Flag.SUSPECT and not quiet
        found = assess(channel.value, care) if usable else UNKNOWN
        outlook = None
        if usable:
            outlook = self._ask(channel.probe, channel.quantity) if self._ask is not None else NOTHING
            if outlook is NOTHING:
                outlook = straight_line(self._store, plan, channel.probe, channel.quantity, now_ms, channel.value)
            outlook = not_behind(outlook, channel.value)
        latest = Latest(
            probe=channel.probe,
            quantity=channel.quantity,
            value=channel.value if channel.flag <= Flag.SUSPECT else None,
            time_ms=channel.last_ms if channel.last_ms >= 0 else None,
            flag=channel.flag,
            reason=("" if channel.reason == NEWEST else channel.reason)
            or ("never heard of yet" if channel.last_ms < 0 else ""),
            band=found.band,
            side=found.side,
            care=care,
            quiet=quiet,
            derived=channel.derived,
            trend_per_hour=outlook.trend_per_hour if outlook is not None else None,
        )
        return latest, outlook
