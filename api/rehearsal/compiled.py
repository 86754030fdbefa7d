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
import pickle
import shutil
import sys
from collections.abc import Callable
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from types import FunctionType
from typing import Any, cast

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
    swapped,
)
from api.rehearsal import records
from api.rehearsal.records import CLASSES, memory, no_rows

Run = Callable[[calm_run.Rows, calm_run.Memory, int, int], tuple[int, int]]
SOURCES = (
    calm_run, channel_watch, fall_shape, first_order, heading, natures, oxygen_past, probe_health, room_watch,
    slow_fall, standstill, swapped, records,
)  # fmt: skip
METHODS = {
    first_order.Approach: "take begin _set_step _begin_weights _changed _sum_up",
    channel_watch.ChannelWatch: "plain take_plain _usual _learn_same _learn_noise _remember look_usual leaves"
    " noise stuck_nats came_back",
    standstill.Habit: "take learn",
    standstill.Standstill: "hear _close _least_same moves still_since_ms",
    fall_shape.FallShape: "keep",
    slow_fall.SlowFall: "closes add _keep _of _look _usual_low _just_before _is_fall",
    oxygen_past.OxygenPast: "remember",
}
"""What the calm run comes to; methods of one name take as many arguments, whichever class they belong to."""
FUNCTIONS: tuple[Any, ...] = (
    calm_run.as_before, calm_run.believed, calm_run.fares_alike, heading.asks, heading.moves, heading.unusual,
    probe_health.quiet_of_late, probe_health.least_nats, swapped.jumped_lately, slow_fall.line, slow_fall.low_quarter,
    standstill.bin_of,
)  # fmt: skip


@cache
def compiled_run() -> Run | None:
    """The calm run compiled: from what is kept, or anew, which takes some seconds; None where that cannot be."""
    if not possible():
        return None
    os.environ.setdefault("NUMBA_DISABLE_INTEL_SVML", "1")  # its exp has another last digit
    import numba
    from numba.core.errors import NumbaError

    config: Any = numba.core.config
    if config.DISABLE_JIT:
        return None
    config.CACHE_DIR = config.CACHE_DIR or str(kept_in())
    anew = not is_kept()
    try:
        _teach()
        run: Run = numba.njit(calm_run.calm_run, cache=True)
        run(no_rows(), memory(1, 1, 1), 0, 0)
    except (EOFError, pickle.UnpicklingError):
        shutil.rmtree(kept_in(), ignore_errors=True)  # cut off while it was written
        return None
    except (NumbaError, OSError, RuntimeError):
        return None
    if anew:
        for other in kept_in().parent.glob("*"):  # of sources that are no more
            if other != kept_in():
                shutil.rmtree(other, ignore_errors=True)
    return run


def kept_in() -> Path:
    """The folder of what was compiled from these very sources: nobody else may write there, for it is executed."""
    key = hashlib.sha256()
    for module in (*SOURCES, sys.modules[__name__]):
        key.update(inspect.getsource(module).encode())
    inside = Path(sys.prefix, "share")
    base = inside if os.access(inside if inside.exists() else inside.parent, os.W_OK) else _own_cache()
    return base / "intermolt" / "compiled" / key.hexdigest()[:16]


def is_kept() -> bool:
    """Whether it needs not be compiled first."""
    return any(kept_in().rglob("*.nbc"))


def _own_cache() -> Path:
    try:
        return Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache")
    except RuntimeError:  # a user without a home: what is compiled is not kept
        return Path(sys.prefix, "share")


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
    if clash := fields & set(found):
        raise TypeError(f"{min(clash)} is a method of one class and an attribute of another: give one another name")
    asked = {name: _chosen(name, whose) for name, whose in found.items()}
    for name, answer in asked.items():
        if isinstance(found[name][0][1], property):
            overload_attribute(types.Record, name)(answer)
        else:
            overload_method(types.Record, name, strict=False)(answer)  # type: ignore[call-arg]
    for function in FUNCTIONS:
        overload(function, strict=False)(_with_arguments(function, lambda *_, one=function: one))


def _chosen(name: str, whose: list[tuple[Any, Any]]) -> Callable[..., Any]:
    """What numba asks for a method: told the record it is called on, it answers with the function it is there."""
    whose = [(record, one.fget if isinstance(one, property) else one) for record, one in whose]
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


if __name__ == "__main__":
    compiled_run()
