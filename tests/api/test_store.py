"""What the services may rely on of a store: first come is kept, nothing is half kept, and what was kept stays."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Iterator
from concurrent.futures import CancelledError
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from api.domain.quantity import Quantity
from api.domain.reading import CheckedReading, Flag
from api.storage import migrations
from api.storage.base import StoreUnavailable
from api.storage.sqlite import SqliteStore, connect

Q = Quantity
START_MS = 1_790_000_100_000 // 3_600_000 * 3_600_000


@pytest.fixture
def store(tmp_path: Path) -> Iterator[SqliteStore]:
    """An empty store."""
    one = SqliteStore(tmp_path / "s.db")
    yield one
    one.close()


def reading(time_ms: int, value: float | None, flag: Flag = Flag.GOOD, probe: str = "p") -> CheckedReading:
    """A temperature."""
    return CheckedReading(probe, Q.TEMPERATURE, time_ms, value or 0.0, "Cel", value, flag, "why" if flag > 1 else "")


def append(store: SqliteStore, *readings: CheckedReading) -> list[bool]:
    """Keep readings."""
    return store.write(lambda: store.readings.append(readings)).result(timeout=10)


def rows(store: SqliteStore, probe: str = "p") -> list[tuple[int, float | None, int]]:
    """All of a probe's temperatures."""
    return store.readings.recent(probe, Q.TEMPERATURE, 0, 2**62)


def test_the_first_of_two_is_kept(store: SqliteStore) -> None:
    """Unique by probe, quantity and time, within a pack and between packs; another probe is another reading."""
    assert append(store, reading(START_MS, 20.0), reading(START_MS, 21.0)) == [True, False]
    assert append(store, reading(START_MS, 22.0), reading(START_MS, 23.0, probe="q")) == [False, True]
    assert (rows(store), rows(store, "q")) == ([(START_MS, 20.0, 1)], [(START_MS, 23.0, 1)])


def test_the_newest_of_a_channel_is_the_newest_in_time(store: SqliteStore) -> None:
    """Not the last to arrive."""
    append(store, reading(START_MS + 5000, 21.0))
    append(store, reading(START_MS, 20.0))
    channel = store.readings.channels()[0]
    assert (channel.last_ms, channel.value) == (START_MS + 5000, 21.0)


usual = st.tuples(
    st.integers(0, 7200),
    st.none() | st.floats(-1e9, 1e9),
    st.sampled_from([Flag.GOOD, Flag.NOT_EVALUATED, Flag.SUSPECT, Flag.FAIL, Flag.MISSING]),
)


@settings(deadline=None, max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.lists(usual, min_size=1, max_size=8), min_size=1, max_size=6))
def test_summaries_equal_what_the_readings_give(
    tmp_path_factory: pytest.TempPathFactory, packs: list[list[tuple[int, float | None, Flag]]]
) -> None:
    """In whatever packs and order the readings come, repeats included."""
    store = SqliteStore(tmp_path_factory.mktemp("store") / "s.db")
    kept: dict[int, tuple[float | None, Flag]] = {}
    try:
        for pack in packs:
            new = append(store, *(reading(START_MS + second * 1000, value, flag) for second, value, flag in pack))
            assert new == [
                second not in kept and second not in [s for s, _, _ in pack[:n]]
                for n, (second, _, _) in enumerate(pack)
            ]
            for second, value, flag in pack:
                kept.setdefault(second, (value, flag))
        for step_s in (300, 3600):
            spans = store.readings.summaries("p", Q.TEMPERATURE, START_MS, START_MS + 7_201_000, step_s, step_s * 1000)
            assert [span.start_ms for span in spans] == sorted({START_MS + s // step_s * step_s * 1000 for s in kept})
            for span in spans:
                inside = [
                    one for second, one in kept.items() if START_MS + second // step_s * step_s * 1000 == span.start_ms
                ]
                good = [value for value, flag in inside if value is not None and flag <= Flag.SUSPECT]
                assert (span.count, span.low, span.high) == (
                    len(good),
                    min(good, default=None),
                    max(good, default=None),
                )
                assert span.flagged == sum(flag >= Flag.SUSPECT for _, flag in inside)
                if good:
                    assert span.mean == pytest.approx(sum(good) / len(good), abs=1e-3, rel=1e-9)
        hours = store.readings.hour_means("p", Q.TEMPERATURE, START_MS, START_MS + 7_201_000)
        assert hours == [(span.start_ms, span.mean) for span in spans if span.count]
    finally:
        store.close()


def test_one_failing_job_leaves_the_others(store: SqliteStore) -> None:
    """They share a transaction; what raised leaves nothing behind, the rest is kept."""
    gate = threading.Event()
    first = store.write(gate.wait)

    def fails() -> None:
        store.readings.append([reading(START_MS, 1.0, probe="bad")])
        raise ValueError("after it wrote")

    settled: list[tuple[str, bool]] = []
    good = store.write(
        lambda: store.readings.append([reading(START_MS, 2.0)]), lambda kept: settled.append(("a", kept))
    )
    bad = store.write(fails, lambda kept: settled.append(("bad", kept)))
    last = store.write(
        lambda: store.readings.append([reading(START_MS + 1, 3.0)]), lambda kept: settled.append(("b", kept))
    )
    gate.set()
    assert (first.result(5), good.result(5), last.result(5)) == (True, [True], [True])
    with pytest.raises(ValueError, match="after it wrote"):
        bad.result(5)
    assert (len(rows(store)), rows(store, "bad"), settled) == (2, [], [("a", True), ("b", True)])


def test_one_who_stops_waiting_harms_nobody(store: SqliteStore) -> None:
    """A caller that was cut off takes its work back before it began, or lets it be done; the writer goes on."""
    gate = threading.Event()
    held = store.write(gate.wait)
    gone = store.write(lambda: store.readings.append([reading(START_MS, 1.0)]))
    assert gone.cancel()
    gate.set()
    assert held.result(5)
    with pytest.raises(CancelledError):
        gone.result(5)
    assert append(store, reading(START_MS, 2.0)) == [True]
    begun = threading.Event()

    def work() -> list[bool]:
        begun.set()
        return store.readings.append([reading(START_MS + 1, 3.0)])

    slow = store.write(work)
    assert begun.wait(5)
    slow.cancel()
    assert append(store, reading(START_MS + 2, 4.0)) == [True]
    assert [value for _, value, _ in rows(store)] == [2.0, 3.0, 4.0]


def test_a_full_disk_keeps_nothing_and_says_so(store: SqliteStore) -> None:
    """Every work of the transaction is told it was not kept; later the same work is taken."""
    store.write(lambda: store.reader().execute("PRAGMA max_page_count = 1").fetchall()).result()
    settled: list[bool] = []
    many = [reading(START_MS + n, 20.0) for n in range(5000)]
    with pytest.raises(StoreUnavailable, match="could not keep this"):
        store.write(lambda: store.readings.append(many), settled.append).result()
    assert (settled, rows(store)) == ([False], [])
    store.write(lambda: store.reader().execute("PRAGMA max_page_count = 1000000").fetchall()).result()
    assert sum(append(store, *many)) == 5000


def test_a_closed_store_refuses(tmp_path: Path) -> None:
    """Rather than never answering."""
    store = SqliteStore(tmp_path / "s.db")
    store.close()
    with pytest.raises(StoreUnavailable, match="closed"):
        store.write(lambda: None).result(timeout=1)


def test_what_was_kept_is_there_again(tmp_path: Path) -> None:
    """The files as they lie after a kill: opened by another process, with the first still holding them."""
    first = SqliteStore(tmp_path / "s.db")
    append(first, reading(START_MS, 20.0))
    for name in ("s.db", "s.db-wal"):
        (tmp_path / f"copy-{name}").write_bytes((tmp_path / name).read_bytes())
    (tmp_path / "copy-s.db-wal").rename(tmp_path / "copy.db-wal")
    (tmp_path / "copy-s.db").rename(tmp_path / "copy.db")
    first.close()
    again = SqliteStore(tmp_path / "copy.db")
    assert rows(again) == [(START_MS, 20.0, 1)]
    again.close()


def test_the_house_settings(store: SqliteStore) -> None:
    """Write-ahead log, every commit forced to disk: 2 is FULL."""
    said = store.write(
        lambda: [store.reader().execute(f"PRAGMA {name}").fetchone()[0] for name in ("journal_mode", "synchronous")]
    ).result()
    assert said == ["wal", 2]
    with pytest.raises(sqlite3.OperationalError, match="readonly"):
        store.reader().execute("DELETE FROM reading")


def test_migrations_are_taken_once_and_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A second run takes none; a step that fails half way leaves nothing of itself, and is taken when it is mended."""
    connection = connect(tmp_path / "m.db")
    try:
        assert migrations.migrate(connection) == [name for name, _ in migrations.STEPS]
        assert migrations.migrate(connection) == []
        broken = (*migrations.STEPS, ("9999 broken", "CREATE TABLE half (x); CREATE TABLE half (x)"))
        monkeypatch.setattr(migrations, "STEPS", broken)
        with pytest.raises(sqlite3.OperationalError, match="already exists"):
            migrations.migrate(connection)
        assert connection.execute("SELECT count(*) FROM sqlite_master WHERE name = 'half'").fetchone() == (0,)
        monkeypatch.setattr(migrations, "STEPS", (*broken[:-1], ("9999 broken", "CREATE TABLE half (x)")))
        assert migrations.migrate(connection) == ["9999 broken"]
    finally:
        connection.close()


def test_ten_thousand_channels_in_one_pack(store: SqliteStore) -> None:
    """As many as a pack may hold."""
    pack = [reading(START_MS, 20.0, probe=f"p{n}") for n in range(10_000)]
    assert all(append(store, *pack))
    assert len(store.readings.channels()) == 10_000
