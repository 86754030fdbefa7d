"""The heartbeat: its address, its times and its few words; the collector's calls while readings reach the disk."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from api.domain.errors import InputError
from api.domain.heartbeat import Calls, address
from api.domain.tank import Heartbeat
from collector.config import load_config
from collector.console import Console
from collector.drivers.base import Batch
from collector.heartbeat import Heartbeats, ailment
from collector.runner import Runner
from collector.spool import Spool
from collector.status import StatusBoard
from tests.bench.rooms import free_port
from tests.collector.conftest import Until, readings
from tests.support.http_receiver import Receiver
from tests.support.serial_line import SerialLine
from tests.support.watcher import Watcher


@pytest.fixture
def watcher() -> Iterator[Watcher]:
    """Somebody outside."""
    with Watcher() as running:
        yield running


@pytest.mark.parametrize(
    ("given", "called"),
    [
        ("https://watch.example", "https://watch.example?from=collector"),
        ("https://watch.example/x", "https://watch.example/x?from=collector"),
        ("https://watch.example/x?key=a%2Bb+c&flag", "https://watch.example/x?key=a%2Bb+c&flag&from=collector"),
        ("http://watch.example:81/x?from=east#part", "http://watch.example:81/x?from=east&from=collector"),
    ],
)
def test_the_caller_is_appended_and_the_rest_stays_as_written(given: str, called: str) -> None:
    """Whatever query the address has keeps its bytes; a fragment is never sent."""
    assert address(given, "collector") == called


def test_a_strange_name_cannot_break_the_query() -> None:
    """It is quoted."""
    assert address("http://watch.example", "collector-a&b=c/d") == "http://watch.example?from=collector-a%26b%3Dc%2Fd"


def test_calls_are_due_on_their_beat_and_sooner_after_a_failure() -> None:
    """At once at the start, then every 300 s; a minute after a call in vain; a short beat stays short."""
    calls = Calls(Heartbeat("http://watch.example", 300.0), "service")
    assert calls.due(0.0)
    calls.answered(10.0)
    assert not calls.due(309.9)
    assert calls.due(310.0)
    calls.failed(310.0, "no answer")
    assert not calls.due(369.9)
    assert calls.due(370.0)
    brisk = Calls(Heartbeat("http://watch.example", 10.0), "service")
    brisk.failed(0.0, "no answer")
    assert brisk.due(10.0)


def test_an_outage_of_the_watcher_is_two_lines_with_a_count() -> None:
    """A thousand calls in vain: one line when it begins, one when it ends; the address's path is in neither."""
    calls = Calls(Heartbeat("https://watch.example/secret-key", 300.0), "service")
    said = [calls.failed(60.0 * n, "no answer") for n in range(1000)]
    assert said[0] == "watch.example cannot be called: no answer; tried again every 60 s"
    assert set(said[1:]) == {""}
    assert calls.answered(60_000.0) == "watch.example answers again, after 1000 calls in vain"
    assert calls.answered(60_300.0) == ""


def test_calls_withheld_are_told_once_and_stay_due() -> None:
    """While something is wrong here nobody is called; the first good moment calls at once."""
    calls = Calls(Heartbeat("http://watch.example", 300.0), "service")
    first = calls.withheld("the disk takes nothing")
    assert first == "watch.example is not called, so that its watcher notices: the disk takes nothing"
    assert calls.withheld("the disk takes nothing") == calls.withheld("no probe gives readings") == ""
    assert calls.due(0.0)
    assert calls.answered(5.0) == "watch.example is called again"


def test_a_watcher_that_refuses_is_told_once(watcher: Watcher, until: Until) -> None:
    """Its status is named, the secret in its path is not; when it answers again the count is told."""
    said: list[str] = []
    stop = threading.Event()
    watcher.status = 404
    settings = Heartbeat(watcher.url + "/secret-key", 0.05)
    beats = Heartbeats(settings, "main", lambda: "", said.append, stop, look_s=0.01)
    beats.start()
    until(lambda: len(watcher.calls) > 5)
    watcher.status = 204
    until(lambda: len(said) > 1)
    stop.set()
    assert beats.join(5)
    assert said[0] == "127.0.0.1 cannot be called: it answered 404; tried again every 0.05 s"
    assert said[1].startswith("127.0.0.1 answers again, after ")
    assert len(said) == 2
    assert set(watcher.callers()) == {"collector"}


@pytest.mark.parametrize("url", ["http://[::1", "http://watch.example:nine/x", "http:///x", "ftp://watch.example", "x"])
def test_what_is_no_web_address_is_told_at_the_start(url: str) -> None:
    """Without saying it: it may hold a secret."""
    with pytest.raises(InputError, match=r"^\[room.heartbeat\] url is no web address; write it like "):
        Calls(Heartbeat(url), "service")


def test_nobody_at_the_address_ends_nothing(until: Until) -> None:
    """One line without the secret, and the thread goes on until it is told to stop."""
    said: list[str] = []
    stop = threading.Event()
    url = f"http://127.0.0.1:{free_port()}/secret-key"
    beats = Heartbeats(Heartbeat(url, 0.05), "east", lambda: "", said.append, stop, look_s=0.01)
    beats.start()
    until(lambda: said)
    assert beats._thread.is_alive()
    stop.set()
    assert beats.join(5)
    assert said[0].startswith("127.0.0.1 cannot be called: ")
    assert "secret-key" not in said[0]


def test_what_keeps_the_collector_from_its_work(spool: Spool, monkeypatch: pytest.MonkeyPatch) -> None:
    """No probe that gives readings, or a disk that takes nothing; a room without probes to read is well."""
    board = StatusBoard(lambda: 0, "1", lambda matter, text: None)
    assert ailment(board, spool) == ""
    board.add("p1", 1.0)
    board.add("p2", 1.0)
    assert ailment(board, spool) == "none of 2 probes gives readings"
    board.heard("p2", Batch(tuple(readings(1, probe="p2"))))
    assert ailment(board, spool) == ""

    def full(*given: object, **more: object) -> None:
        raise sqlite3.OperationalError("database or disk is full")

    monkeypatch.setattr(spool._stock, "commit", full)
    assert not spool.keep(readings(1))
    assert ailment(board, spool) == "the disk takes nothing (database or disk is full)"


def test_the_collector_calls_only_while_it_reads(
    tmp_path: Path, data: Path, receiver: Receiver, watcher: Watcher, until: Until
) -> None:
    """No call before the first reading; calls while lines come; none once the probe is pulled out; then again."""
    said: list[str] = []
    with SerialLine(tmp_path / "p1") as line:
        text = f'[room]\nname = "east"\nzone = "UTC"\n[room.heartbeat]\nurl = "{watcher.url}?key=1"\nevery_s = 10\n'
        text += f'[[probe]]\nid = "p1"\ndriver = "serial_lines"\nport = "{line.link}"\nevery_s = 1\n'
        text += '[[probe.value]]\nquantity = "temperature"\nunit = "Cel"\n'
        (tmp_path / "room.toml").write_text(text)
        config = load_config(tmp_path / "room.toml", data, receiver.url)
        running = Runner(config, console=Console(lambda: 0.0, said.append))
        assert running.heartbeats is not None
        running.heartbeats._look_s = 0.02
        running.heartbeats._calls._every_s = 0.05
        running.start()
        try:
            until(lambda: any("none of 1 probes gives readings" in text for text in said))
            assert watcher.calls == []
            line.say("24.3\n")
            until(lambda: len(watcher.calls) > 2)
            line.unplug()
            until(lambda: sum("is not called" in text for text in said) == 2)
            calls = len(watcher.calls)
            line.plug()

            def called_again() -> bool:
                line.say("24.4\n")
                return len(watcher.calls) > calls

            until(called_again)
        finally:
            running.stop()
    assert watcher.calls[0] == "/creek-room?key=1&from=collector"
