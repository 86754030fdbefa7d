"""Whether a probe tells the truth: standing still, jumping about, out of the water, or drifting. Pure.

Must not do: mark readings (``check_stream.py`` does); it says what a keeper should look at, and why.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import log

from api.domain.cause import Cause, CauseName
from api.domain.quantity import MEANING, Quantity
from api.judge.channel_watch import SPIKES, ChannelWatch
from api.judge.slow_fall import Fall
from api.judge.standstill import Standstill
from api.science.oxygen import saturation_mg_l

DAYS_MS = 200 * 86_400_000
"""A live probe may be called stuck by chance about twice a year, by what one of its quantities does."""
TOGETHER_DAYS_MS = 10 * 86_400_000
"""By all of them at once: counted on the simulated room, once a month at ten minutes a reading, where two repeats have
to tell; once in four months at five minutes, hardly ever where it speaks more often (judgement)."""
STUCK_LEAST_MS = 1_200_000
SPIKES_MS = 1_500_000
"""Three odd readings within 25 minutes (judgement)."""
LIFTED_AFTER_MS, LIFTED_UNTIL_MS = 1_140_000, 12 * 3_600_000
"""Out of the water for so long is forgotten, not cleaned: 19 minutes, so that 30 are kept at slow probes."""
CLEAR_K, SMALL_K, POURED_K_MIN = 0.6, 0.25, 0.12
"""A jump that tells by itself, one that tells beside another, and what a can of water does. [K], [K], [K/min]"""
CLEAR_MG_L, SMALL_MG_L = 0.4, 0.2
TOGETHER_MS = 660_000
AIR_SHARE = 0.06
"""A probe in air reads full saturation, within calibration and moisture (judgement). [1]"""


def untroubled(watches: Iterable[ChannelWatch], still: Standstill | None, now_ms: int) -> bool:
    """Whether a probe moves, has jumped nowhere of late and said nothing odd: then none of the below is found."""
    if still is None or not still.moves:
        return False
    return all(watch.same <= 1 and quiet_of_late(watch, now_ms) for watch in watches)


def quiet_of_late(watch: ChannelWatch, now_ms: int) -> bool:
    """Whether a channel has not jumped away of late, or came back, and was not odd again and again."""
    if 0 <= watch.away_ms > now_ms - LIFTED_UNTIL_MS and not watch.came_back:
        return False
    return watch.spiked_ms < 0 or now_ms - watch.spiked_ms > SPIKES_MS


def stuck(watches: Sequence[tuple[Quantity, ChannelWatch]], still: Standstill | None, now_ms: int) -> Cause | None:
    """One probe's channels together: each that stands still adds its evidence, and so does that all do at once."""
    if not watches:
        return None
    every_ms = max(watches[0][1].every_ms, 1000.0)
    found = [(quantity, watch) for quantity, watch in watches if watch.stuck_nats > 0.0]
    since_ms = max((watch.same_since_ms for _, watch in found), default=now_ms)
    if sum(watch.stuck_nats for _, watch in found) < least_nats(every_ms) or now_ms - since_ms < STUCK_LEAST_MS:
        if still is None or now_ms - still.still_since_ms(every_ms) < STUCK_LEAST_MS:
            return None
        if still.nats(every_ms) < log(TOGETHER_DAYS_MS / every_ms):
            return None
        found, since_ms = list(watches), still.still_since_ms(every_ms)
    minutes = (now_ms - since_ms) / 60_000
    said = ", ".join(f"{MEANING[quantity].label} {watch.last:g}" for quantity, watch in found)
    return Cause(
        CauseName.PROBE_STUCK,
        0.95,
        (f"the same number for {minutes:.0f} min ({said}); until then it never stood still so long",),
    )


def least_nats(every_ms: float) -> float:
    """Evidence from which a probe is called stuck by what its quantities do one by one."""
    return log(DAYS_MS / max(every_ms, 1000.0))


def unsteady(quantity: Quantity, watch: ChannelWatch, now_ms: int) -> Cause | None:
    """Odd readings, each alone, again and again."""
    if len(watch.spikes) < SPIKES:
        return None
    recent = [one for one in watch.spikes if now_ms - one <= SPIKES_MS]
    if len(recent) < SPIKES:
        return None
    minutes = max(1.0, (now_ms - recent[0]) / 60_000)
    text = f"{len(recent)} readings of {MEANING[quantity].label} far off both neighbours in {minutes:.0f} min"
    return Cause(CauseName.PROBE_UNSTEADY, 0.9, (text, "cable, plug or a bubble on the probe"))


def in_air(
    temperature: ChannelWatch | None, oxygen: ChannelWatch | None, pressure_kpa: float, now_ms: int, after_ms: int
) -> Cause | None:
    """The probe jumped to the room's air and stayed there: by one clear sign, or by two small ones at the same time."""
    if (oxygen is None or oxygen.away_ms < 0) and (temperature is None or temperature.away_ms < 0):
        return None
    evidence: list[str] = []
    clear, since = 0, list[int]()
    if oxygen is not None and _jumped(oxygen, now_ms):
        up = oxygen.last - oxygen.jump_from
        if up > SMALL_MG_L and _saturated(oxygen.last, temperature, pressure_kpa):
            clear += up > CLEAR_MG_L
            since.append(oxygen.away_ms)
            evidence.append(f"oxygen rose at once from {oxygen.jump_from:.1f} to {oxygen.last:.1f} mg/L, saturated air")
    if temperature is not None and _jumped(temperature, now_ms) and not _returns(temperature):
        went = abs(temperature.last - temperature.jump_from)
        poured = POURED_K_MIN * temperature.jump_ms / 60_000
        if went > SMALL_K + poured:
            clear += went > CLEAR_K + poured
            since.append(temperature.away_ms)
            evidence.append(
                f"temperature went from {temperature.jump_from:.1f} to {temperature.last:.1f} °C within minutes, "
                "quicker than water can, and stayed"
            )
    together = len(since) == 2 and abs(since[0] - since[1]) <= TOGETHER_MS
    if not since or not (clear or together) or now_ms - min(since) < after_ms:
        return None
    return Cause(CauseName.PROBE_IN_AIR, 0.9 if len(evidence) > 1 else 0.7, tuple(evidence))


def drifting(fall: Fall, now_ms: int) -> Cause:
    """Why a slow fall of oxygen is thought to be the probe's."""
    hours = (now_ms - fall.since_ms) / 3_600_000
    return Cause(
        CauseName.PROBE_DRIFTING,
        0.8,
        (
            f"oxygen fell by {fall.fallen:.1f} mg/L in {hours:.1f} h, {-fall.slope:.2f} mg/L every hour alike",
            "water would rest after an hour or two, or fall faster and faster",
        ),
    )


def _saturated(oxygen_mg_l: float, temperature: ChannelWatch | None, pressure_kpa: float) -> bool:
    water_c = temperature.last if temperature is not None else 22.0
    full = saturation_mg_l(min(max(water_c, 0.0), 40.0), pressure_kpa)
    return abs(oxygen_mg_l / full - 1.0) < AIR_SHARE


def _jumped(watch: ChannelWatch, now_ms: int) -> bool:
    if watch.away_ms < 0 or now_ms - watch.away_ms >= LIFTED_UNTIL_MS:
        return False
    return not watch.came_back and not watch.doubts


def _returns(watch: ChannelWatch) -> bool:
    """Water that got a can of cold is warmed again by its heater."""
    approach = watch.approach
    toward = watch.jump_from - approach.level
    return abs(approach.slope) > 0.2 and approach.slope * toward > 0 and not approach.steady
