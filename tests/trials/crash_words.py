"""The crash trial's table, and what a person needs to look into a number that is not where it should be.

Must not do: change a figure.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from tests.trials.crash_count import Name
from tests.trials.crash_run import Result

MOST_SHOWN = 5
AROUND_S = (4.0, 12.0)


def table(results: Sequence[Result]) -> str:
    """Every figure, one column for each way of readings."""
    rows: list[tuple[str, Callable[[Result], object]]] = [
        ("faults", lambda one: one.faults.total()),
        *((f"  {name}", lambda one, name=name: one.faults[name]) for name in _kinds(results)),
        ("numbers sent", lambda one: one.tally.sent),
        ("  stored", lambda one: one.tally.stored),
        ("  lost (goal 0)", lambda one: len(one.tally.lost)),
        ("    of them refused, set aside", lambda one: len(set(one.tally.refused) & set(one.tally.lost))),
        ("doubled (goal 0)", lambda one: len(one.tally.doubled)),
        ("never said (goal 0)", lambda one: len(one.tally.foreign)),
        ("in doubt at a death", lambda one: one.tally.doubt),
        ("  of them stored", lambda one: one.tally.doubt_stored),
        ("in memory only at a death", lambda one: one.tally.memory),
        ("  of them stored", lambda one: one.tally.memory_stored),
        ("held with time unknown", lambda one: one.tally.held),
        ("wait, dated in the future", lambda one: one.tally.ahead),
        ("longest catch-up, s", lambda one: f"{one.catch_up_s:.1f}"),
        ("wall time, s", lambda one: f"{one.took_s:.0f}"),
    ]
    lines = ["", f"{'':36}" + "".join(f"{one.uplink:>10}" for one in results)]
    lines += [f"{name:36}" + "".join(f"{figure(one)!s:>10}" for one in results) for name, figure in rows]
    small = all(disk.small for one in results for disk in one.world.disks.values())
    return "\n".join(lines + ([] if small else ["No full disk was tried: that needs root and the right to mount."]))


def _kinds(results: Sequence[Result]) -> list[str]:
    return sorted({name for one in results for name in one.faults})


def explanation(result: Result) -> str:
    """What went wrong and what was said around it; empty when nothing did."""
    tally = result.tally
    out = [result.stuck, *result.ends, *tally.broken]
    if tally.waiting:
        out.append(f"{tally.waiting} readings still wait in the spool")
    for what, names in (("lost", tally.lost), ("doubled", tally.doubled), ("never said", tally.foreign)):
        if names:
            out.append(f"{what}: {_listed(names)}")
    if tally.refused:
        out.append(f"refused: {_listed(tally.refused)}, as: {'; '.join(sorted(set(tally.refused.values()))[:3])}")
    out += [line for name in _worst(result) for line in _around(result, name)]
    told = [line for line in out if line]
    return "" if not told else "\n".join([f"\n{result.uplink}:", *told, ""])


def _listed(names: Iterable[Name]) -> str:
    names = sorted(names)
    text = ", ".join(f"{probe} {number}" for probe, number in names[:200])
    return f"{len(names)}: {text}{' ...' if len(names) > 200 else ''}"


def _worst(result: Result) -> list[Name]:
    """A few numbers to look into, each from another moment."""
    said, chosen = result.world.bench.said(), list[Name]()
    for name in [*result.tally.doubled, *result.tally.lost]:
        if all(abs(said[name].at_s - said[other].at_s) > 20 for other in chosen if name in said and other in said):
            chosen.append(name)
    return [name for name in chosen if name in said][:MOST_SHOWN]


def _around(result: Result, name: Name) -> list[str]:
    """What trial, programs and broker said around the moment in which a number was said."""
    at_s = result.world.bench.said()[name].at_s
    before_s, after_s = AROUND_S
    lines = result.world.journal.between(at_s - before_s, at_s + after_s)
    return ["", f"around {name[0]} {name[1]}, said at {at_s:.2f} s:", *lines]
