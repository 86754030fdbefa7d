"""The service put together: store, line, watch, outbox, answers. Must not do: anything but join its parts."""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import Future
from pathlib import Path
from urllib.parse import urlsplit

from api.at_rest import resting
from api.domain.errors import InputError
from api.domain.tank import RoomFile, Tank
from api.folder_lock import hold
from api.foresight import Foresight
from api.importing import Importing
from api.invented import keep_apart
from api.mornings import Morning
from api.mqtt.door import open_door
from api.notify.base import Notifier
from api.parts import Parts, heartbeats
from api.reaching import Reaching
from api.rehearsal.desk import RehearsalDesk
from api.room_text import read_room
from api.services.again import Again
from api.services.air_tests import AirTests
from api.services.alert_chart import AlertCharts
from api.services.animals import Animals
from api.services.calibrations import Calibrations
from api.services.care import Care
from api.services.claim import Claims
from api.services.deliver import Deliver
from api.services.grace import Graces
from api.services.husbandry import EventLog
from api.services.imports import Imports
from api.services.ingest import Ingest
from api.services.keepers import Keepers
from api.services.links import Links
from api.services.lives import Lives
from api.services.look_back import LookBack
from api.services.molt_calendar import MoltCalendar
from api.services.molts import Molts
from api.services.performance import Performances
from api.services.plan import RoomPlan
from api.services.probes import Probes
from api.services.read import Reader
from api.services.records import Records
from api.services.report import Reports
from api.services.review import Review
from api.services.room_check import check_room
from api.services.rounds import Rounds
from api.services.soft_guard import SoftGuard
from api.services.tank_warmth import TankWarmth
from api.services.warn import Warn
from api.services.watch import Watch
from api.storage.sqlite import SqliteStore

DATABASE = "intermolt.db"


class Front:
    """Records and keepers as the web asks for them."""

    def __init__(self, records: Records, keepers: Keepers, ingest: Ingest, claims: Claims) -> None:
        self._records, self._ingest, self._claims = records, ingest, claims
        self.password_set = keepers.password_set
        self.check_password = keepers.check_password
        self.password_mark = keepers.password_mark
        self.keepers = keepers.names
        self.secret = keepers.secret
        self.token_ok = keepers.token_ok

    def acknowledge(self, alert_id: int, person: str, note: str, now_ms: int) -> Future[None]:
        """See ``Records.acknowledge``."""
        return self._records.acknowledge(self._ingest, alert_id, person, note, now_ms)

    def add_tank(self, tank: Tank, now_ms: int) -> None:
        """See ``Records.add_tank``."""
        self._records.add_tank(tank, now_ms)

    def claim(self, probe_id: str, tank_id: str, now_ms: int) -> None:
        """See ``Claims.claim``."""
        self._claims.claim(probe_id, tank_id, now_ms)


class Service:
    """Everything the web needs; ``start`` begins the watching and delivering, ``close`` ends them."""

    def __init__(self, room: Path, data: Path, notifier: Notifier, now_ms: Callable[[], int]) -> None:
        data.mkdir(parents=True, exist_ok=True, mode=0o700)
        self._lock = _lock(data)
        self.now_ms = now_ms
        self.store = _opened(data / DATABASE, self._lock)
        try:
            records = Records(self.store)
            file = _applied(room, data, self.store, records, now_ms())
            self.plan: Callable[[], RoomPlan] = records.plan
            keepers = Keepers(self.store, data)
            links = Links(keepers.secret("link"), self.plan)
            self.warn = Warn(self.store, self.plan, links.for_anybody)
            self.ingest = Ingest(self.store, self.plan, self.warn)
            self.records = Front(records, keepers, self.ingest, Claims(self.store, records))
            self.mqtt = open_door(file, room.parent, self.ingest, self.store, now_ms)
            beats = heartbeats(file, lambda: self.parts.ailment(), now_ms)
        except BaseException:
            self.store.close()
            os.close(self._lock)
            raise
        self.lives, self.reports = Lives(self.store), Reports(self.store, self.plan)
        self.guard = SoftGuard(self.store, self.lives, self.plan, records.put_stages, now_ms, records.put_spans)
        self.events = EventLog(self.store, self.plan, self.lives, self.guard.look)
        self.animals = Animals(self.store, self.plan, self.lives, self.events)
        self.guard.look()
        self.molts = Molts(self.lives, TankWarmth(self.store, self.plan), now_ms)
        self.morning = Morning(self.store, self.plan, self.lives, self.guard, self.molts, now_ms)
        self.foresight = Foresight(self.store, self.plan, self.ingest, self.warn, now_ms, records.put_ammonia)
        self.calendar = MoltCalendar(self.animals, self.molts, self.plan)
        self.review = Review(self.store, self.plan, self.lives, self.molts, self.grace)
        self.read = Reader(self.store, self.plan, now_ms(), self.guard, self.foresight.ahead)
        self.probes, self.care = Probes(self.store, self.plan), Care(self.store, self.plan, records.reload, now_ms)
        self.calibrations = Calibrations(self.store, self.plan, records.reload)
        self.importing = Importing(self.store, data, records, self.ingest, now_ms)
        self.watch = Watch(self.store, self.ingest, self.plan, now_ms, self.guard)
        self.deliver = Deliver(self.store, notifier, self.plan, now_ms)
        self.reaching = Reaching(self.store, self.ingest, self.plan, records, links, now_ms, data)
        self.resting = resting(self.store, self.ingest, self.plan, self.warn, now_ms)
        self.rehearsals = RehearsalDesk(self.store, self.plan, data / DATABASE, now_ms)
        self.parts = Parts(self.store, data, self._rounds(), self.mqtt, beats, now_ms)

    def _rounds(self) -> dict[str, Rounds]:
        """Everything that goes its rounds, but the molts."""
        own = {"watch": self.watch.rounds, "deliver": self.deliver.rounds, "again": self.again.rounds}
        own |= {"alerts at rest": self.resting.rounds} | self.morning.rounds | self.importing.rounds
        return own | self.reaching.rounds | self.foresight.rounds

    @property
    def look_back(self) -> LookBack:
        """Molt intervals that are over."""
        return LookBack(self.store, self.plan, self.lives, self.molts)

    @property
    def alert_charts(self) -> AlertCharts:
        """The water around an alert's moment."""
        return AlertCharts(self.read, self.plan)

    @property
    def performances(self) -> Performances:
        """How the alerts themselves do."""
        return Performances(self.store, self.plan)

    @property
    def air_tests(self) -> AirTests:
        """Guided air tests."""
        return self.foresight.tests

    @property
    def grace(self) -> Graces:
        """How long each tank lasts without air."""
        return self.foresight.grace

    @property
    def again(self) -> Again:
        """What goes over late and recalibrated readings."""
        return self.importing.again

    @property
    def imports(self) -> Imports:
        """Files on their way in."""
        return self.importing.desk

    @property
    def drop_folder(self) -> str:
        """Where files may be put to be taken."""
        return str(self.importing.drop.path)

    @property
    def hosts(self) -> tuple[str, ...]:
        """Host names, besides loopback, the service may be called by."""
        settings = self.plan().settings
        public = urlsplit(settings.address).hostname
        return (*settings.hosts, settings.host, *([public] if public else []))

    def start(self) -> None:
        """Begin watching and delivering, and listening to the broker where the room has one."""
        self.parts.start()
        self.molts.rounds.start()

    def health(self) -> dict[str, str]:
        """Each part: "well", or what is wrong with it."""
        return self.parts.health()

    def close(self) -> None:
        """Stop and close."""
        self.parts.stop()
        self.molts.rounds.stop()
        self.rehearsals.close()
        self.store.close()
        self.release()

    def release(self) -> None:
        """Let another service work on the data folder."""
        os.close(self._lock)


def _applied(room: Path, data: Path, store: SqliteStore, records: Records, now_ms: int) -> RoomFile | None:
    """The room file checked and put on record; None where there is none."""
    file = read_room(room) if room.exists() else None
    if file is not None:
        check_room(file)
        if store.readings.channels():
            keep_apart(records.plan().simulated, file, room, data)
        records.apply(file, now_ms)
    return file


def _opened(path: Path, lock: int) -> SqliteStore:
    try:
        return SqliteStore(path)
    except BaseException:
        os.close(lock)
        raise


def _lock(data: Path) -> int:
    lock = hold(data)
    if lock is None:
        raise InputError(f"another service already works on {data}; stop it first, or give another --data")
    return lock
