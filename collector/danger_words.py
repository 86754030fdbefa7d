"""The words of the second voice about tanks beyond a danger limit: tank, value, limit, how long, what to check first.

Pure. Must not do: convert a unit, or name a limit the service did not tell.
"""

from __future__ import annotations

from collections.abc import Sequence

from api.domain.words import duration
from collector.danger import Beyond, Limit

FOLD_FROM = 3
"""More tanks than this at once are told in one message."""
TOLD_BY = "Told by the collector, for the service is away."
CAUTION = "Mains and water: residual-current protection, drip loops, dry hands; follow your site's rules."


def danger_messages(new: Sequence[tuple[Limit, Beyond]], room: str, now_ms: int) -> list[tuple[str, str]]:
    """One message a tank; many tanks at once are one message, for then it is the room that fails."""
    tanks: dict[str, list[tuple[Limit, Beyond]]] = {}
    for limit, beyond in new:
        tanks.setdefault(limit.tank, []).append((limit, beyond))
    if len(tanks) > FOLD_FROM:
        short = "; ".join(f"{tank}: {_all_short(found)}" for tank, found in tanks.items())
        checks = " ".join(dict.fromkeys(_check(limit, beyond) for limit, beyond in new))
        title = f"URGENT {room}: {len(tanks)} tanks beyond danger limits"
        return [(title, f"{short}. {checks} {TOLD_BY} {CAUTION}")]
    messages = []
    for tank, found in tanks.items():
        lasted = duration(max(now_ms - beyond.since_ms for _, beyond in found) / 1000)
        checks = " ".join(dict.fromkeys(_check(limit, beyond) for limit, beyond in found))
        labels = ", ".join(limit.label for limit, _ in found)
        body = f"{tank}: {_all_short(found)} for {lasted}. {checks} {TOLD_BY} {CAUTION}"
        messages.append((f"URGENT {tank}: {labels}", body))
    return messages


def _all_short(found: Sequence[tuple[Limit, Beyond]]) -> str:
    return ", ".join(
        f"{limit.label} {beyond.value:g} {limit.unit}, {'above' if beyond.high else 'below'} the danger limit"
        f" {beyond.limit:g} {limit.unit}"
        for limit, beyond in found
    )


def _check(limit: Limit, beyond: Beyond) -> str:
    return limit.high_check if beyond.high else limit.low_check
