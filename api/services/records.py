"""The room's records: description, keepers, secrets, collectors; and what people do to alerts.

``room.toml`` is applied as often as one likes with the same result; tanks added and probes claimed by the API stay.
Must not do: judge.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import Future
from dataclasses import asdict, replace
from typing import Any

from pydantic import TypeAdapter

from api.domain.alert import AlertState
from api.domain.calibration import Line, lines_of
from api.domain.care import CareProfile
from api.domain.care_species import BUILT_IN
from api.domain.errors import InputError, NotFound
from api.domain.people_change import people_in_force
from api.domain.quantity import Quantity
from api.domain.tank import UNREAD, Notify, Probe, Room, RoomFile, ServiceSettings, Tank
from api.domain.texts import person_name, writable
from api.judge.alert_cycle import acknowledge
from api.judge.stages import Spans
from api.services.calibrations import entry_of, in_force
from api.services.care_then import care_over_time
from api.services.ingest import Ingest
from api.services.people_records import ladder_in, morning_in, people_body, people_in
from api.services.plan import RoomPlan
from api.storage.base import Store

TANK, PROBE, CARE = TypeAdapter(Tank), TypeAdapter(Probe), TypeAdapter(CareProfile)
FROM_FILE, FROM_API = "file", "api"


class Records:
    """Keeps and gives the room's description; every change is one transaction and a new plan."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._soft: frozenset[str] = frozenset()
        self._stages: dict[str, frozenset[str]] = {}
        self._spans: Spans | None = None
        self._ammonia: Mapping[str, tuple[float, float]] = {}
        self._plan = self._load()

    def plan(self) -> RoomPlan:
        """The room as it is known now."""
        return self._plan

    def apply(self, file: RoomFile, now_ms: int) -> bool:
        """Take over what ``room.toml`` says; True when anything changed."""
        before = self._described()
        added = [row for row in before["tank"] if row.get("origin") == FROM_API]
        names = {tank.id for tank in file.tanks}
        after: dict[str, Any] = {
            "tank": [
                *(_row(TANK, tank, FROM_FILE) for tank in file.tanks),
                *(r for r in added if r["id"] not in names),
            ],
            "probe": _probe_rows(file.probes, before["probe"], names | {row["id"] for row in added}),
            "care": [_row(CARE, profile, FROM_FILE) for profile in file.care],
            "notify": [asdict(notify) | {"origin": FROM_FILE} for notify in file.notify],
            "room": {
                "room": asdict(file.room),
                "service": asdict(file.service),
                "simulated": file.simulated is not None,
                **people_body(file),
            },
        }
        for table, key in (("tank", "id"), ("probe", "id"), ("care", "name"), ("notify", "name")):
            after[table] = sorted(after[table], key=lambda row: str(row[key])) if table != "tank" else after[table]
        after["room"]["service"]["hosts"] = list(file.service.hosts)
        if after == before:
            return False
        self._store.write(lambda: self._keep(after, now_ms)).result()
        self._plan = self._load()
        return True

    def _keep(self, rows: dict[str, Any], now_ms: int) -> None:
        for table, key in (("tank", "id"), ("probe", "id"), ("care", "name"), ("notify", "name")):
            self._store.state.put(table, [(row[key], row) for row in rows[table]])
        for row in rows["care"]:
            self._store.care.describe(row["name"], _bare(row), now_ms)
        self._store.state.set_document("room", rows["room"], now_ms)

    def _described(self) -> dict[str, Any]:
        tables = {table: self._store.state.all(table) for table in ("tank", "probe", "care", "notify")}
        return {**tables, "room": self._store.state.document("room")}

    def _load(self) -> RoomPlan:
        rows = self._described()
        top = rows["room"] or {"room": {"name": "Room", "zone": "UTC"}, "service": {}, "simulated": False}
        tanks = [TANK.validate_python(_bare(row)) for row in rows["tank"]]
        probes = [PROBE.validate_python(_bare(row)) for row in rows["probe"]]
        care = [CARE.validate_python(_bare(row)) for row in rows["care"]] or list(BUILT_IN)
        service = {**top["service"], "hosts": tuple(top["service"].get("hosts", ()))}
        return RoomPlan(
            room=Room(**top["room"]),
            tanks={tank.id: tank for tank in tanks},
            probes={probe.id: probe for probe in probes},
            care={profile.name: profile for profile in care},
            notify=tuple(Notify(**_bare(row)) for row in rows["notify"]),
            settings=ServiceSettings(**service),
            simulated=top["simulated"],
            lines=self._lines(),
            soft=self._soft,
            stages=self._stages,
            stage_spans=self._spans,
            ammonia=self._ammonia,
            people=people_in_force(people_in(top), self._store.people.changes()),
            people_in_file=people_in(top),
            ladder=ladder_in(top),
            morning=morning_in(top),
            care_then=care_over_time(self._store, care),
        )

    def _lines(self) -> dict[tuple[str, Quantity], tuple[Line, ...]]:
        """Where calibrations in force put each channel's readings."""
        entries = [entry_of(row) for row in self._store.revisions.calibrations()]
        keys = {(one.calibration.probe, one.calibration.quantity) for one in entries}
        return {key: lines_of(in_force(entries, *key)) for key in keys}

    def reload(self) -> None:
        """Read the description anew: something it is made of has changed."""
        self._plan = self._load()

    def put_stages(self, soft: frozenset[str], stages: Mapping[str, frozenset[str]]) -> None:
        """Which tanks hold soft or berried animals, or young; a new plan when that changed."""
        if (soft, stages) != (self._soft, self._stages):
            self._soft, self._stages = soft, dict(stages)
            self.reload()

    def put_ammonia(self, water: Mapping[str, tuple[float, float]]) -> None:
        """pH and temperature of tanks with an ammonia probe; a new plan when that changed."""
        if water != self._ammonia:
            self._ammonia = dict(water)
            self.reload()

    def put_spans(self, spans: Spans) -> None:
        """When which tank held animals of which stage; a new plan when that changed."""
        if spans != self._spans:
            self._spans = spans
            self.reload()

    def add_tank(self, tank: Tank, now_ms: int) -> None:
        """Add or change one tank.

        Raises InputError when its care profile is not known.
        """
        for what, text in (("name", tank.name), ("species", tank.species), ("note", tank.note)):
            writable(f"the tank's {what}", text)
        if tank.care not in self._plan.care:
            raise InputError(f"care {tank.care!r} is no care profile; known: {', '.join(self._plan.care)}")
        rows = self._described()
        kept = [row for row in rows["tank"] if row["id"] != tank.id]
        rows["tank"] = [*kept, _row(TANK, tank, FROM_API)]
        self._store.write(lambda: self._keep({**rows, "room": rows["room"] or _NO_ROOM}, now_ms)).result()
        self._plan = self._load()

    def put_probe(self, probe: Probe, now_ms: int) -> None:
        """Add or change one probe; the room file's own word of its tank goes before this."""
        rows = self._described()
        kept = [row for row in rows["probe"] if row["id"] != probe.id]
        rows["probe"] = sorted([*kept, _row(PROBE, probe, FROM_API)], key=lambda row: str(row["id"]))
        self._store.write(lambda: self._keep({**rows, "room": rows["room"] or _NO_ROOM}, now_ms)).result()
        self._plan = self._load()

    def acknowledge(self, ingest: Ingest, alert_id: int, person: str, note: str, now_ms: int) -> Future[None]:
        """Note that a person has taken an alert.

        Raises InputError without a name, NotFound for an alert that is not there.
        """
        person, note = person_name(person, "an alert is acknowledged"), note.strip()[:1000]
        writable("note", note)
        if self._store.state.alert(alert_id) is None:
            raise NotFound(f"there is no alert {alert_id}")
        work = lambda: self.take_over(ingest, alert_id, person, note, now_ms)  # noqa: E731 - one expression
        return self._store.write(work, ingest.settle)

    def take_over(self, ingest: Ingest, alert_id: int, person: str, note: str, now_ms: int) -> None:
        """Inside the writer: a person takes an alert that waits for one; any other stays as it is."""
        row = self._store.state.alert(alert_id)
        if row is None or row.state not in (AlertState.UNACKNOWLEDGED, AlertState.RETURNED_UNACKNOWLEDGED):
            return
        ingest.begin()
        change: dict[str, Any] = {"acknowledged_by": person, "acknowledged_ms": now_ms, "note": note or None}
        track = ingest.track_of(row.subject)
        state = AlertState.NORMAL
        if track is not None:
            after, _ = acknowledge(track, now_ms)
            ingest.tracks.put(after.subject, after)
            state = after.state
        change["state"] = state
        if state is AlertState.NORMAL:
            change["ended_ms"] = now_ms
        self._store.state.change_alert(alert_id, change)
        self._store.state.add_event(alert_id, "acknowledged", now_ms, person, note)
        ingest.finish([], now_ms)


_NO_ROOM: dict[str, Any] = {"room": {"name": "Room", "zone": "UTC"}, "service": {}, "simulated": False}


def _probe_rows(probes: Sequence[Probe], before: Sequence[dict[str, Any]], tanks: set[str]) -> list[dict[str, Any]]:
    """The room file's probes, those it gives no tank with the tank they were claimed for; and others that were claimed.

    A claim for a tank that is not there any more is over.
    """
    claimed = {row["id"]: row for row in before if row.get("origin") == FROM_API and row["tank"] in tanks}
    rows = []
    for probe in probes:
        claim = claimed.pop(probe.id, None)
        if probe.tank is None and claim is not None:
            rows.append(_row(PROBE, replace(probe, tank=claim["tank"]), FROM_API))
        else:
            rows.append(_row(PROBE, probe, FROM_FILE))
    return [*rows, *(row for row in claimed.values() if row["driver"] in UNREAD)]


def _row(adapter: TypeAdapter[Any], value: Any, origin: str) -> dict[str, Any]:
    body = adapter.dump_python(value, mode="json")
    body["origin"] = origin
    return dict(body)


def _bare(row: dict[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in row.items() if key != "origin"}
