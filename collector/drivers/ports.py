"""Which probe reads which port, so that two that would spoil each other's reading are found before anything starts.

Must not do: open a port (``bus.py`` has them share it).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from api.domain.tables import Place
from api.domain.tank import Probe
from collector.drivers.base import Driver


@dataclass(frozen=True, slots=True)
class _User:
    probe: str
    alone: bool
    form: str
    told_apart_by: str


class Ports:
    """The ports of one room file."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._users: dict[str, list[_User]] = {}

    def take(self, probe: Probe, driver: type[Driver], options: Mapping[str, Any], place: Place) -> None:
        """One more probe and its port, if it has one.

        Raises RoomFileError when another probe has it and they cannot share it.
        """
        own = driver.port(probe, options, self._folder)
        name, form = driver.shared(options, self._folder)
        if own or name:
            user = _User(probe.id, bool(own), form, driver.told_apart_by(probe, options))
            others = self._users.setdefault(own or name, [])
            for other in others:
                _check(user, other, driver, place)
            others.append(user)


def _check(user: _User, other: _User, driver: type[Driver], place: Place) -> None:
    if user.alone or other.alone:
        todo = driver.SHARING or "Give each probe its own."
        raise place.wrong(f"reads the same port as probe {other.probe!r}.", todo, "port")
    if user.form != other.form:
        what = f"shares its port with probe {other.probe!r}, which has it as {other.form!r}; here it is {user.form!r}."
        raise place.wrong(what, "Write the same driver and the same port settings in both tables.", "port")
    if user.told_apart_by and user.told_apart_by == other.told_apart_by:
        what = f"shares its port with probe {other.probe!r}, and both have {user.told_apart_by}."
        raise place.wrong(what, "Nobody could tell whose a line is: give each its own.", "port")
