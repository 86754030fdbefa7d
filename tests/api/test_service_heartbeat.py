"""The service's heartbeat: calls while watch, outbox, second thoughts and store are well, and none when one is not."""

from __future__ import annotations

import logging
import sqlite3
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from api.domain.errors import InputError
from api.domain.tank import Heartbeat
from api.notify.heartbeat import Heartbeats, fault_of_call
from api.service import Service
from tests.bench.rooms import free_port
from tests.support.rooms import NOW_MS, ROOM, Recording, TestRoom, room
from tests.support.watcher import Watcher


@pytest.fixture
def watcher() -> Iterator[Watcher]:
    """Somebody outside."""
    with Watcher() as running:
        yield running


@pytest.fixture
def lab(tmp_path: Path) -> Iterator[TestRoom]:
    """A room."""
    with room(tmp_path) as one:
        yield one


def test_calls_come_on_their_beat_and_name_the_service(watcher: Watcher) -> None:
    """At the first look, not at the next, and again when the time is over."""
    clock_s = [0.0]
    beats = Heartbeats(Heartbeat(watcher.url + "?key=1", 300.0), lambda: "", lambda: clock_s[0])
    for clock_s[0] in (0.0, 5.0, 295.0, 301.0, 305.0):
        beats.look()
    assert watcher.calls == ["/creek-room?key=1&from=service"] * 2


def test_nothing_is_called_while_the_service_is_ill(watcher: Watcher, caplog: pytest.LogCaptureFixture) -> None:
    """Not once in an hour, with one line in the log; called the moment it is well, with another."""
    clock_s, ill = [0.0], "store: the disk is full"
    beats = Heartbeats(Heartbeat(watcher.url, 300.0), lambda: ill, lambda: clock_s[0])
    with caplog.at_level(logging.INFO, "intermolt.heartbeat"):
        for clock_s[0] in range(0, 3600, 5):
            beats.look()
        assert watcher.calls == []
        ill = ""
        beats.look()
    assert watcher.callers() == ["service"]
    assert [record.getMessage() for record in caplog.records] == [
        "127.0.0.1 is not called, so that its watcher notices: store: the disk is full",
        "127.0.0.1 is called again",
    ]


def test_a_watcher_away_for_long_is_two_lines(caplog: pytest.LogCaptureFixture, watcher: Watcher) -> None:
    """Twenty calls in vain, one a minute, and one that is answered."""
    clock_s = [0.0]
    watcher.status = 500
    beats = Heartbeats(Heartbeat(watcher.url + "/secret-key", 300.0), lambda: "", lambda: clock_s[0])
    with caplog.at_level(logging.INFO, "intermolt.heartbeat"):
        for minute in range(20):
            clock_s[0] = minute * 60.0
            beats.look()
        watcher.status = 200
        clock_s[0] += 60.0
        beats.look()
    assert [record.getMessage() for record in caplog.records] == [
        "127.0.0.1 cannot be called: it answered 500; tried again every 60 s",
        "127.0.0.1 answers again, after 20 calls in vain",
    ]


def test_nobody_there_is_a_fault_in_words() -> None:
    """Without the address, which may hold a secret."""
    fault = fault_of_call(f"http://127.0.0.1:{free_port()}/secret-key")
    assert fault
    assert "secret-key" not in fault


def test_what_counts_as_ill(lab: TestRoom, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each round that stands still, and a store that keeps nothing; a broker that is away is told elsewhere."""
    parts = lab.service.parts
    assert parts.ailment() == ""
    for name in ("watch", "deliver", "again"):
        getattr(lab.service, name).rounds.beat_ms = lab.now_ms - 61_000
        assert parts.ailment() == f"{name}: silent for 61 s"
        getattr(lab.service, name).rounds.beat_ms = lab.now_ms

    def full(counts: object) -> None:
        raise sqlite3.OperationalError("database or disk is full")

    monkeypatch.setattr(lab.service.store.state, "count_up", full)
    assert parts.ailment() == ""
    parts._written_s -= 5.0
    words = "store: the database could not keep this: database or disk is full ("
    assert parts.ailment().startswith(words)
    assert f" MB free on the disk of {lab.folder / 'data'})" in parts.ailment()
    monkeypatch.undo()
    assert parts.ailment() == ""


def test_many_questions_are_not_many_writes(lab: TestRoom) -> None:
    """Whoever asks for health every moment must not wear out the disk."""
    for _ in range(50):
        assert lab.service.health()["store"] == "well"
    assert lab.service.store.state.counters()["written"] == 1


def test_a_running_service_calls(tmp_path: Path, watcher: Watcher) -> None:
    """From its room file, within one look of its start; not any more once its watch stands still."""
    text = ROOM + f'[room.heartbeat]\nurl = "{watcher.url}"\nevery_s = 10\n'
    (tmp_path / "room.toml").write_text(text, encoding="utf-8")
    now_ms = [NOW_MS]
    service = Service(tmp_path / "room.toml", tmp_path / "data", Recording(), lambda: now_ms[0])
    beats = service.parts._all[-1]
    beats.every_s = 0.02
    service.start()
    try:
        _wait(lambda: watcher.callers() == ["service"])
    finally:
        began_s = time.monotonic()
        service.close()
    assert time.monotonic() - began_s < 2.0


def test_a_watcher_that_is_no_address_is_told_at_the_start(tmp_path: Path) -> None:
    """And the data folder is free again afterwards."""
    path = tmp_path / "room.toml"
    path.write_text(ROOM + '[room.heartbeat]\nurl = "http://[::1"\n', encoding="utf-8")
    with pytest.raises(InputError, match=r"url .*is no web address"):
        Service(path, tmp_path / "data", Recording(), lambda: NOW_MS)
    path.write_text(ROOM, encoding="utf-8")
    again = Service(path, tmp_path / "data", Recording(), lambda: NOW_MS)
    again.store.close()
    again.release()


def _wait(true: Callable[[], bool]) -> None:
    end_s = time.monotonic() + 5
    while not true():
        assert time.monotonic() < end_s
        time.sleep(0.01)
