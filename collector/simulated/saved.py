"""The room's memory on disk: ``state.json`` lets a room that was stopped go on where the time between would have led.

Must not do: move the water. A file that cannot be read is told, never overwritten.
"""

from __future__ import annotations

import json
import os
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from api.domain.errors import InputError
from collector.simulated.faults import Fault, FaultKind
from collector.simulated.state import NAMES, State, at_rest
from collector.simulated.tanks import Tanks

VERSION = 1


@dataclass(frozen=True, slots=True)
class Saved:
    """A state, the wall time it belongs to, and where the demo's story began. ``state.time_ms`` is the water's time."""

    first_start_ms: int
    wall_ms: int
    names: tuple[str, ...]
    opening: tuple[Fault, ...]
    state: State


def write(path: Path, saved: Saved) -> None:
    """Replace the file whole, so that a power cut leaves the old one or the new one."""
    path.parent.mkdir(parents=True, exist_ok=True)
    body = {
        "version": VERSION,
        "first_start_ms": saved.first_start_ms,
        "wall_ms": saved.wall_ms,
        "tanks": list(saved.names),
        "opening": [asdict(fault) for fault in saved.opening],
        "time_ms": saved.state.time_ms,
        **{name: getattr(saved.state, name).tolist() for name in NAMES},
    }
    beside = path.with_name(f"{path.name}.{os.getpid()}.part")
    with beside.open("w", encoding="utf-8") as file:
        json.dump(body, file)
        file.flush()
        os.fsync(file.fileno())
    beside.replace(path)


def read(path: Path, names: Sequence[str], tanks: Tanks) -> Saved | None:
    """What was saved, for these tanks; a tank that is new begins at rest. None when there is no file.

    Raises InputError when the file is there and cannot be used.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        return None
    try:
        return _parse(json.loads(text), tuple(names), tanks)
    except (ValueError, KeyError, TypeError) as error:
        raise InputError(
            f"{path}: this saved room cannot be read ({error!r}). Delete the file to begin a new room."
        ) from error


def _parse(body: dict[str, Any], names: tuple[str, ...], tanks: Tanks) -> Saved:
    if body["version"] != VERSION:
        raise ValueError(f"version {body['version']} is not {VERSION}")
    before = {name: index for index, name in enumerate(body["tanks"])}
    state = at_rest(tanks, int(body["time_ms"]))
    known = [index for index, name in enumerate(names) if name in before]
    source = [before[names[index]] for index in known]
    arrays = {}
    for name in NAMES:
        arrays[name] = getattr(state, name).copy()
        old = np.array(body[name], dtype=np.float64)
        if old.shape != (len(before),) or not np.isfinite(old).all():
            raise ValueError(f"{name} is not one finite number a tank")
        arrays[name][known] = old[source]
    opening = tuple(Fault(**{**fault, "kind": FaultKind(fault["kind"])}) for fault in body["opening"])
    return Saved(int(body["first_start_ms"]), int(body["wall_ms"]), names, opening, replace(state, **arrays))
