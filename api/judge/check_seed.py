"""A channel's checks after a restart, as if they had never stopped: its kept past, gone through once more.

Must not do: read the past from anywhere; the caller brings what was kept in the ``limits.past_s`` before
the newest kept reading, and one reading more, from which the first of them is told how long the probe was silent.
"""

from __future__ import annotations

from collections.abc import Sequence

from api.domain.reading import Flag
from api.judge.check_stream import Company, Stream

Base = tuple[Flag, str]
GOOD_BASE: Base = (Flag.GOOD, "")


def seed(
    stream: Stream,
    times_ms: Sequence[int],
    values: Sequence[float | None],
    flags: Sequence[int],
    bases: Sequence[Base] | None = None,
    company: Company | None = None,
) -> Stream:
    """Give a new stream its past: readings in time order with the flags they were kept with.

    ``bases`` (flag and reason before these tests) only where readings had any; ``company`` as for the stream. A
    reading without a value is taken as it was kept.
    """
    doubt = False
    for i, (time_ms, value, flag) in enumerate(zip(times_ms, values, flags, strict=True)):
        base = bases[i] if bases is not None else GOOD_BASE if value is not None else (Flag(flag), "")
        run_ms = stream.run_start_ms
        stream.step(int(time_ms), value, *base, company=company)
        if stream.before_ms != time_ms:
            continue
        goes_on = stream.run_start_ms == run_ms
        # Inside a run of one number nothing but the flat line test fails: no spike, no jump. It failed because the
        # probe had been restless before the run, which may lie too far back to be seen now.
        if doubt and goes_on:
            stream.recall_restless()
        doubt = goes_on and flag == Flag.FAIL
    if doubt:
        stream.recall_restless()
    return stream
