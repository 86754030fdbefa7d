"""Whether a probe tells the truth: standing still, jumping about, out of the water, or drifting. Pure.

Must not do: mark readings (``check_stream.py`` does); it says what a keeper should look at, and why.
"""

from __future__ import annotations

from collections.abc import Sequence

from api.domain.cause import Cause, CauseName
from api.domain.quantity import MEANING, Quantity
from api.judge.channel_watch import ChannelWatch
from api.science.oxygen import saturation_mg_l

STUCK_NATS = 14.0
"""A live probe says the same so often once in a million times (e to the 14)."""
STUCK_LEAST_MS = 1_200_000
SPIKES, SPIKES_MS = 3, 1_500_000
"""Three odd readings within 25 minutes (judgement)."""
LIFTED_AFTER_MS, LIFTED_UNTIL_MS = 1_140_000, 12 * 3_600_000
"""Out of the water for so long is forgotten, not cleaned: 19 minutes, so that 30 are kept at slow probes."""
LEAST_K, POURED_K_MIN = 0.6, 0.12
"""A smaller or slower jump may be a can of water. [K], [K/min]"""
AIR_SHARE = 0.06
"""A probe in air reads full saturation, within calibration and moisture (judgement). [1]"""


def stuck(watches: Sequence[tuple[Quantity, ChannelWatch]], now_ms: int) -> Cause | None:
    """One probe's channels together: each that stands still adds its evidence."""
    found = [(quantity, watch) for quantity, watch in watches if watch.stuck_nats > 0.0]
    nats = sum(watch.stuck_nats for _, watch in found)
    if not found or nats < STUCK_NATS:
        return None
    since_ms = max(watch.same_since_ms for _, watch in found)
    if now_ms - since_ms < STUCK_LEAST_MS:
        return None
    minutes = (now_ms - since_ms) / 60_000
    said = ", ".join(f"{MEANING[quantity].label} {watch.last:g}" for quantity, watch in found)
    return Cause(
        CauseName.PROBE_STUCK,
        0.95,
        (f"the same number for {minutes:.0f} min ({said}); until then it never stood still so long",),
    )


def unsteady(quantity: Quantity, watch: ChannelWatch, now_ms: int) -> Cause | None:
    """Odd readings, each alone, again and again."""
    recent = [one for one in watch.spikes if now_ms - one <= SPIKES_MS]
    if len(recent) < SPIKES:
        return None
    minutes = max(1.0, (now_ms - recent[0]) / 60_000)
    text = f"{len(recent)} readings of {MEANING[quantity].label} far off both neighbours in {minutes:.0f} min"
    return Cause(CauseName.PROBE_UNSTEADY, 0.9, (text, "cable, plug or a bubble on the probe"))


def in_air(
    temperature: ChannelWatch | None, oxygen: ChannelWatch | None, pressure_kpa: float, now_ms: int, after_ms: int
) -> Cause | None:
    """The probe jumped to the room's air and stayed there."""
    evidence: list[str] = []
    since_ms = -1
    if oxygen is not None and _jumped(oxygen, now_ms):
        water_c = temperature.last if temperature is not None else 22.0
        full = saturation_mg_l(min(max(water_c, 0.0), 40.0), pressure_kpa)
        up = oxygen.last - oxygen.jump_from
        if up > 0.25 and abs(oxygen.last / full - 1.0) < AIR_SHARE:
            since_ms = oxygen.away_ms
            evidence.append(f"oxygen rose at once from {oxygen.jump_from:.1f} to {oxygen.last:.1f} mg/L, saturated air")
    if temperature is not None and _jumped(temperature, now_ms):
        went = temperature.last - temperature.jump_from
        if abs(went) > LEAST_K + POURED_K_MIN * temperature.jump_ms / 60_000 and not _returns(temperature):
            since_ms = min(since_ms, temperature.away_ms) if since_ms >= 0 else temperature.away_ms
            evidence.append(
                f"temperature went from {temperature.jump_from:.1f} to {temperature.last:.1f} °C within minutes, "
                "quicker than water can, and stayed"
            )
    if since_ms < 0 or now_ms - since_ms < after_ms or (len(evidence) < 2 and now_ms - since_ms < LIFTED_AFTER_MS):
        return None
    return Cause(CauseName.PROBE_IN_AIR, 0.9 if len(evidence) > 1 else 0.7, tuple(evidence))


def _jumped(watch: ChannelWatch, now_ms: int) -> bool:
    away = watch.away_ms >= 0 and not watch.came_back and not watch.doubts
    return away and now_ms - watch.away_ms < LIFTED_UNTIL_MS


def _returns(watch: ChannelWatch) -> bool:
    """Water that got a can of cold is warmed again by its heater."""
    approach = watch.approach
    toward = watch.jump_from - approach.level
    return abs(approach.slope) > 0.2 and approach.slope * toward > 0 and not approach.steady
