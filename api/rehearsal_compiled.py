"""The calm run as machine code: the same classes and functions as live, compiled by numba for records of theirs.

A method that is called on a record is the method of the class the record stands for, so that there is one source for
both. Compiled once for a machine and kept beside the program. Must not do: be needed; where it cannot be, rehearsals go
reading by reading.
"""

from __future__ import annotations

import hashlib
import inspect
import mmap
import os
import sys
import tempfile
from collections.abc import Callable
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from types import FunctionType
from typing import Any, cast

from api import rehearsal_records
from api.judge import (
    calm_run,
    channel_watch,
    fall_shape,
    first_order,
    heading,
    natures,
    oxygen_past,
    probe_health,
    room_watch,
    slow_fall,
    standstill,
)
from api.rehearsal_records import CLASSES

Run = Callable[[calm_run.Rows, calm_run.Memory, int, int], tuple[int, bool]]
SOURCES = (
    calm_run, channel_watch, fall_shape, first_order, heading, natures, oxygen_past, probe_health, room_watch,
    slow_fall, standstill, rehearsal_records,
)  # fmt: skip
METHODS = {
    first_order.Approach: "take begin _set_step _begin_weights _changed _sum_up",
    channel_watch.ChannelWatch: "plain take_plain _usual _learn_same _learn_noise _remember look_usual leaves"
    " noise stuck_nats",
    standstill.Habit: "take learn",
    standstill.Standstill: "hear _close _least_same moves still_since_ms",
    fall_shape.FallShape: "keep",
    slow_fall.SlowFall: "closes add _keep _of _look _usual_low _just_before _is_fall",
    oxygen_past.OxygenPast: "remember",
}
"""What the calm run comes to; methods of one name take as many arguments, whichever class they belong to."""
FUNCTIONS: tuple[Any, ...] = (
    calm_run.as_before, calm_run.believed, calm_run.fares_alike, heading.asks, heading.moves, heading.unusual,
    probe_health.quiet_of_late, probe_health.least_nats, slow_fall.line, slow_fall.low_quarter, standstill.bin_of,
)  # fmt: skip


@cache
def compiled_run() -> Run | None:
    """The calm run compiled: from what is kept, or anew, which takes some seconds; None where that cannot be."""
    if not possible():
        return None
    os.environ.setdefault("NUMBA_DISABLE_INTEL_SVML", "1")  # its exp has another last digit
    os.environ.setdefault("NUMBA_CACHE_DIR", str(kept_in()))
    from numba import njit

    _teach()
    run: Run = njit(calm_run.calm_run, cache=True)
    return run


def kept_in() -> Path:
    """The folder of what was compiled from these very sources."""
    key = hashlib.sha256()
    for module in (*SOURCES, sys.modules[__name__]):
        key.update(inspect.getsource(module).encode())
    name = Path("intermolt", "compiled", key.hexdigest()[:16])
    places = [Path(sys.prefix, "share"), Path(tempfile.gettempdir(), f"intermolt-{os.getuid()}")]
    return next(
        (base / name for base in places if (base / name).is_dir() or os.access(base, os.W_OK)), places[-1] / name
    )


def possible() -> bool:
    """Whether what it needs is there, and this process may execute what it writes."""
    if find_spec("numba") is None:
        return False
    try:
        mmap.mmap(-1, mmap.PAGESIZE, prot=mmap.PROT_READ | mmap.PROT_WRITE | mmap.PROT_EXEC).close()
    except (OSError, AttributeError):
        return False
    return True


def _teach() -> None:
    """Tell numba whose methods a record has, and which plain functions it may call."""
    from numba import from_dtype, types
    from numba.extending import overload, overload_attribute, overload_method

    found: dict[str, list[tuple[Any, Any]]] = {}
    fields = {name for layout in CLASSES for name in layout.names or ()}
    for layout, one in CLASSES.items():
        for name in METHODS.get(one, "").split():
            found.setdefault(name, []).append((from_dtype(layout), vars(one)[name]))
    for name, whose in found.items():
        if name in fields:
            raise TypeError(f"{name} is a method of one class and an attribute of another: give one another name")
        if isinstance(whose[0][1], property):
            getters = [(record, one.fget) for record, one in whose]
            overload_attribute(types.Record, name)(_chosen(name, getters))
        else:
            overload_method(types.Record, name, strict=False)(_chosen(name, whose))  # type: ignore[call-arg]
    for function in FUNCTIONS:
        overload(function, strict=False)(_with_arguments(function, lambda *_, one=function: one))


def _chosen(name: str, whose: list[tuple[Any, FunctionType]]) -> Callable[..., Any]:
    """What numba asks for a method: told the records it is called on, it answers with the function it is there."""
    counts = {one.__code__.co_argcount for _, one in whose}
    if len(counts) > 1:
        raise TypeError(f"{name} takes different numbers of arguments in different classes: give one another name")
    return _with_arguments(whose[0][1], lambda record, *_: next((one for own, one in whose if own == record), None))


def _with_arguments(like: FunctionType, answer: Callable[..., Any]) -> Callable[..., Any]:
    """The answer as a function with as many named arguments as another: numba wants no others."""
    names = ", ".join(like.__code__.co_varnames[: like.__code__.co_argcount])
    made: dict[str, Any] = {"answer": answer}
    exec(f"def asked({names}): return answer({names})", made)  # noqa: S102 - the names are those of our own functions
    return cast(Callable[..., Any], made["asked"])
