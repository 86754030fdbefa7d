"""An acknowledgement that no longer holds: the alert calls again. Inside the writer, within a piece of work.

Must not do: tell anybody (``reach.py``).
"""

from __future__ import annotations

from dataclasses import replace

from api.domain.alert import AlertState
from api.services.ingest import Ingest
from api.storage.base import AlertRow, Store


def reopen(store: Store, ingest: Ingest, row: AlertRow, event: str, now_ms: int, words: str, person: str = "") -> None:
    """An acknowledged alert waits for somebody again; who had acknowledged it stands in its history."""
    if row.state != AlertState.ACKNOWLEDGED:
        return
    track = ingest.track_of(row.subject)
    if track is not None and track.state is AlertState.ACKNOWLEDGED:
        ingest.tracks.put(track.subject, replace(track, state=AlertState.UNACKNOWLEDGED))
    change = {"state": AlertState.UNACKNOWLEDGED, "acknowledged_by": None, "acknowledged_ms": None, "note": None}
    store.state.change_alert(row.id, change)
    store.state.add_event(row.id, event, now_ms, person, words)
