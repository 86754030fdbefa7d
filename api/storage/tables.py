"""The tables of a ``Store`` on SQLite, each with its own part of the protocol. Must not do: open a connection."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable

from api.storage.air_test_base import AirTestStore
from api.storage.air_tests import SqliteAirTests
from api.storage.animal_base import AnimalStore
from api.storage.animals import SqliteAnimals
from api.storage.base import ReadingStore, RevisionStore, StateStore
from api.storage.care import SqliteCare
from api.storage.care_base import CareStore
from api.storage.history import SqliteHistory
from api.storage.history_base import AlertHistoryStore
from api.storage.import_base import ImportStore
from api.storage.imports import SqliteImports
from api.storage.past import SqlitePast
from api.storage.past_base import PastStore
from api.storage.people import SqlitePeople
from api.storage.people_base import PeopleStore
from api.storage.reach import SqliteReach
from api.storage.reach_base import ReachStore
from api.storage.readings import SqliteReadings
from api.storage.rest_base import RestStore
from api.storage.rests import SqliteRests
from api.storage.revisions import SqliteRevisions
from api.storage.state import SqliteState


class Tables:
    """All parts over one write connection and whoever hands out connections to read."""

    def __init__(self, connection: sqlite3.Connection, reader: Callable[[], sqlite3.Connection]) -> None:
        self.readings: ReadingStore = SqliteReadings(connection, reader)
        self.revisions: RevisionStore = SqliteRevisions(connection, reader)
        self.past: PastStore = SqlitePast(connection, reader)
        self.state: StateStore = SqliteState(connection, reader)
        self.animals: AnimalStore = SqliteAnimals(connection, reader)
        self.air_tests: AirTestStore = SqliteAirTests(connection, reader)
        self.reach: ReachStore = SqliteReach(connection, reader)
        self.rests: RestStore = SqliteRests(connection, reader)
        self.care: CareStore = SqliteCare(connection, reader)
        self.imports: ImportStore = SqliteImports(connection, reader)
        self.history: AlertHistoryStore = SqliteHistory(connection, reader)
        self.people: PeopleStore = SqlitePeople(connection, reader)
