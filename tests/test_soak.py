"""The short form of the soak trial: two and a half hours in time-lapse, then a few seconds at real speed."""

from __future__ import annotations

from tests.trials.soak import IN_THE_WIRE, MOST_CPU, MOST_MB, soak


def test_the_collector_stays_small_and_loses_nothing() -> None:
    """Fifty probes; the service is away for a while; what is flat over a week is the full form's matter."""
    told = soak(probes=50, days=0.11, speed=700.0, real_s=6.0)
    print(f"{told.said} lines, {told.lost} lost, at most {told.most_mb:.1f} MB, {told.cpu_share:.2%} of a core")
    assert told.said > 20_000
    assert told.lost <= IN_THE_WIRE * told.unplugged
    assert told.doubled == 0
    assert told.most_mb < MOST_MB
    assert told.cpu_share < MOST_CPU
