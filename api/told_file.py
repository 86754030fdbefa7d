"""Leaves in the data folder who is told, where a page changed that. Must not do: let others than its owner read it."""

from __future__ import annotations

import os
from pathlib import Path

from api.domain.tank import everyone_of
from api.domain.told import FILE, text_of
from api.services.plan import RoomPlan


def leave_told(folder: Path, plan: RoomPlan) -> None:
    """Write it, or take it away where the room file's word is in force. Raises OSError."""
    path = folder / FILE
    if plan.people == plan.people_in_file:
        path.unlink(missing_ok=True)
        return
    fresh = path.with_suffix(".new")
    descriptor = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(descriptor, "w", encoding="utf-8") as file:
        file.write(text_of(everyone_of(plan.notify, plan.people)))
        file.flush()
        os.fsync(file.fileno())
    os.replace(fresh, path)
