"""What the services ask of a store, as protocols; a backend is anything that keeps these promises.

Promises: ``Store.write`` runs its work in one transaction and returns only after it is kept on disk; what raises
leaves nothing behind. Readings are unique by (probe, quantity, time): the first is kept.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import Future
from dataclasses import dataclass
from typing import Any, NamedTuple, Protocol, TypeVar

from api.domain.alert import AlertState
from api.domain.errors import Transient
from api.domain.quantity import Quantity
from api.domain.reading import CheckedReading, Flag, KeptReading
from api.judge.alert_cycle import Track
from api.storage.air_test_base import AirTestStore
from api.storage.animal_base import AnimalStore
from api.storage.care_base import CareStore
from api.storage.history_base import AlertHistoryStore
from api.storage.import_base import ImportStore
from api.storage.past_base import PastStore
from api.storage.people_base import PeopleStore
from api.storage.reach_base import ReachStore
from api.storage.rest_base import RestStore
from api.storage.spans import KeptSpan, Summary

T = TypeVar("T")
LATE, CALIBRATED, DERIVED = "late", "calibrated", "derived"
SUMMARY_STEPS_S = (300, 3600)
"""Lengths of the summary spans kept beside the readings. [s]"""


class StoreUnavailable(Transient):
    """The store could not keep what it was given; nothing of it was kept."""


@dataclass(frozen=True, slots=True)
class Channel:
    """One probe's one quantity and its newest reading."""

    probe: str
    quantity: Quantity
    derived: bool = False
    last_ms: int = -1
    value: float | None = None
    flag: Flag = Flag.MISSING
    reason: str = ""
    raw: float | None = None
    unit: str = ""


@dataclass(frozen=True, slots=True)
class AlertRow:
    """An alert as it is kept."""

    id: int
    subject: str
    tank: str | None
    kind: str
    probe: str | None
    quantity: str | None
    state: str
    priority: str
    since_ms: int
    raised_ms: int
    ended_ms: int | None
    found_late: int
    value: float | None
    worst: float | None
    limit_value: float | None
    text: str
    first_check: str
    acknowledged_by: str | None
    acknowledged_ms: int | None
    note: str | None
    reasons: str = ""


@dataclass(frozen=True, slots=True)
class OutboxRow:
    """A message that waits for delivery, or was delivered."""

    id: int
    alert: int | None
    target: str
    title: str
    body: str
    created_ms: int
    attempts: int
    next_ms: int
    delivered_ms: int | None
    last_error: str
    purpose: str = "alert"
    withdrawn_ms: int | None = None


class Revision(NamedTuple):
    """A second thought about one kept reading."""

    probe: str
    quantity: Quantity
    time_ms: int
    flag: Flag
    reason: str


class CalibrationRow(NamedTuple):
    """A calibration as it is kept."""

    id: int
    probe: str
    quantity: Quantity
    from_ms: int
    body: dict[str, Any]
    entered_ms: int
    withdrawn_ms: int | None
    withdrawn_by: str


class ReadingStore(Protocol):
    """Keeps readings and their summaries."""

    def append(self, readings: Sequence[CheckedReading]) -> list[bool]:
        """Keep readings and their summaries; per reading True when it was new. Inside ``Store.write`` only."""

    def channels(self) -> list[Channel]:
        """Every channel ever seen, with its newest reading."""

    def recent(self, probe: str, quantity: Quantity, start_ms: int, end_ms: int) -> list[tuple[int, float | None, int]]:
        """(time_ms, value, flag) of one channel from start (inside) to end (outside), in time order."""

    def summaries(
        self, probe: str, quantity: Quantity, start_ms: int, end_ms: int, step_s: int, span_ms: int
    ) -> list[Summary]:
        """Spans of ``span_ms`` (a multiple of the kept step) from start to end; empty spans are left out."""

    def hour_means(self, probe: str, quantity: Quantity, start_ms: int, end_ms: int) -> list[tuple[int, float]]:
        """Start and mean of every whole hour with usable readings that starts from start (inside) to end (outside)."""

    def kept_spans(self, probe: str, quantity: Quantity, start_ms: int, end_ms: int, step_s: int) -> list[KeptSpan]:
        """Summaries as they are kept, in time order."""

    def count(self, probe: str, quantity: Quantity, start_ms: int, end_ms: int, most: int) -> int:
        """How many readings there are, counting no further than ``most``."""


class Waiting(NamedTuple):
    """A span to be made again; ``why``: LATE, CALIBRATED, or DERIVED (only what is derived from it)."""

    probe: str
    quantity: Quantity
    why: str
    start_ms: int
    end_ms: int
    touched_ms: int


class RevisionStore(Protocol):
    """Second thoughts about kept readings: flags that a later reading decided, values from raw once more.

    What a probe said (time, raw value, raw unit) is never changed. Writes inside ``Store.write`` only; summaries and
    the channel's newest reading follow in the same transaction.
    """

    def revise(self, changes: Sequence[Revision]) -> None:
        """Change flags and reasons of kept readings."""

    def rows(self, probe: str, quantity: Quantity, start_ms: int, end_ms: int, most: int = -1) -> list[KeptReading]:
        """Kept readings from start (inside) to end (outside), in time order, ``most`` of them at most (-1: all)."""

    def newest(self, probe: str, quantity: Quantity, before_ms: int, most: int) -> list[KeptReading]:
        """The newest readings before a time, in time order."""

    def rewrite(self, probe: str, quantity: Quantity, rows: Sequence[KeptReading]) -> None:
        """Put value, flag, reason and arrival of kept readings anew; the rest stays as it was kept."""

    def rederive(self, probe: str, quantity: Quantity, rows: Sequence[KeptReading]) -> None:
        """Put derived readings anew, also where there were none."""

    def wait(self, probe: str, quantity: Quantity, why: str, start_ms: int, end_ms: int, now_ms: int) -> None:
        """Note that a span has to be gone over; spans of one channel and reason grow together."""

    def waiting(self) -> list[Waiting]:
        """Spans that wait, temperatures first."""

    def gone_over(self, span: Waiting, up_to_ms: int) -> None:
        """A span is done up to a time; done to its end, it waits no longer."""

    def add_calibration(
        self, probe: str, quantity: Quantity, from_ms: int, body: Mapping[str, Any], now_ms: int
    ) -> int:
        """Keep a calibration and return its id."""

    def withdraw_calibration(self, calibration: int, person: str, now_ms: int) -> None:
        """Take a calibration out of force; it stays on record."""

    def calibrations(self) -> list[CalibrationRow]:
        """Every calibration ever entered, in the order they take effect."""


class StateStore(Protocol):
    """Keeps records: the room's description, tracks, alerts, outbox. Writes inside ``Store.write`` only."""

    def put(self, table: str, rows: Iterable[tuple[str, Mapping[str, Any]]]) -> None:
        """Replace all rows of a description table (tank, probe, care, notify) by these."""

    def all(self, table: str) -> list[dict[str, Any]]:
        """All rows of a description table, in the order they were put."""

    def set_document(self, name: str, body: Mapping[str, Any], time_ms: int) -> None:
        """Keep one named record."""

    def document(self, name: str) -> dict[str, Any] | None:
        """One named record."""

    def save_tracks(self, tracks: Iterable[Track]) -> None:
        """Keep tracks; idle ones are dropped."""

    def tracks(self) -> list[Track]:
        """All tracks that are not idle."""

    def open_alert(self, row: Mapping[str, Any]) -> int:
        """Keep a new alert and return its id."""

    def change_alert(self, alert: int, change: Mapping[str, Any]) -> None:
        """Change columns of an alert."""

    def standing(self, subject: str) -> AlertRow | None:
        """The alert of a subject that has not ended."""

    def stood(self, subject: str, start_ms: int, end_ms: int) -> list[tuple[int, int | None]]:
        """(since_ms, ended_ms) of a subject's alerts that stood in a span; None: it stands."""

    def alert(self, alert: int) -> AlertRow | None:
        """One alert."""

    def alerts(self, states: Sequence[AlertState] | None, most: int) -> list[AlertRow]:
        """Newest first; ``states`` None means all."""

    def add_event(self, alert: int, event: str, time_ms: int, person: str = "", text: str = "") -> None:
        """Note a step in an alert's life."""

    def events(self, alert: int) -> list[tuple[str, int, str, str]]:
        """(event, time_ms, person, text) of an alert, oldest first."""

    def post(self, alert: int | None, target: str, title: str, body: str, now_ms: int) -> None:
        """Put a message into the outbox."""

    def due(self, now_ms: int, most: int) -> list[OutboxRow]:
        """Messages to try now, oldest first."""

    def tried(self, row: int, now_ms: int, next_ms: int, error: str) -> None:
        """A try failed: when to try again, and why it failed."""

    def delivered(self, row: int, now_ms: int) -> None:
        """The notifier said the message was delivered."""

    def undelivered(self, most: int) -> list[OutboxRow]:
        """Messages not delivered yet, oldest first."""

    def save_collector(self, name: str, body: Mapping[str, Any], now_ms: int) -> None:
        """Keep a collector's own word of itself."""

    def collectors(self) -> list[tuple[str, dict[str, Any], int]]:
        """(name, what it said, when) of each collector."""

    def count_up(self, counts: Mapping[str, int]) -> None:
        """Add to named counters."""

    def counters(self) -> dict[str, int]:
        """Named counters."""


class Store(Protocol):
    """One database: readings and records, one writer."""

    readings: ReadingStore
    revisions: RevisionStore
    past: PastStore
    state: StateStore
    animals: AnimalStore
    reach: ReachStore
    air_tests: AirTestStore
    rests: RestStore
    care: CareStore
    history: AlertHistoryStore
    people: PeopleStore
    imports: ImportStore

    def write(self, work: Callable[[], T], settle: Callable[[bool], None] | None = None) -> Future[T]:
        """Run ``work`` in the writer, in a transaction shared with others waiting; the future ends after it is kept.

        ``settle`` is called in the writer with True after the commit, False when the transaction was undone.
        """

    def close(self) -> None:
        """Finish the waiting work and close."""
