"""The crash trial in its short form, as ``python -m tests.trials.crash`` runs it with the seed given here."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

from api.domain.quantity import Quantity
from api.domain.reading import CheckedReading, Flag, RawReading
from api.storage.sqlite import SqliteStore
from collector.spool import Spool
from tests.trials.crash_count import tally
from tests.trials.crash_probes import FIRST, Asked, Fate, Remembering, Saying

ROOT = Path(__file__).parents[2]
SEED = 20261125
WITHIN_S = 150.0
"""It takes about 40 s; this is for a machine that has much else to do."""


def test_every_number_is_stored_once_whatever_happens() -> None:
    """25 faults through HTTP and a broker: nothing lost, doubled or refused, and hundreds of numbers sent."""
    command = [sys.executable, "-m", "tests.trials.crash", "--faults", "25", "--seed", str(SEED)]
    process = subprocess.Popen(
        command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, start_new_session=True
    )
    try:
        said, _ = process.communicate(timeout=WITHIN_S)
    finally:
        if process.poll() is None:
            os.killpg(process.pid, signal.SIGKILL)
            process.communicate()
    print(said)
    assert process.returncode == 0, said
    found = re.search(r"numbers sent +(\d+) +(\d+)", said)
    assert found is not None, said
    assert min(map(int, found.groups())) > 50
    behind = re.search(r"clock of the service behind +(\d+) +(\d+)", said)
    assert behind is not None, said
    assert min(map(int, behind.groups())) > 0, said


def _kept(number: int, time_ms: int) -> CheckedReading:
    return CheckedReading("p1", Quantity.LEVEL, time_ms, float(number), "cm", float(number), Flag.GOOD, "")


def test_each_number_that_is_not_where_it_should_be_is_found(tmp_path: Path) -> None:
    """One lost, one stored twice, one that nobody said; one in doubt and stored is neither."""
    said = {("p1", number): Saying(1.0, Fate.SENT) for number in (1, 2, 3)}
    said["p1", 4] = Saying(1.0, Fate.DOUBT)
    said["p1", 5] = Saying(1.0, Fate.MEMORY)
    store = SqliteStore(tmp_path / "intermolt.db")
    kept = [_kept(number, 1000 * place) for place, number in enumerate((1, 2, 2, 4, 77), 1_790_000_000)]
    store.write(lambda: store.readings.append(kept)).result(5)
    store.close()
    spool = Spool(tmp_path / "spool.db")
    spool.keep([RawReading("p1", Quantity.LEVEL, 1_790_000_000_000, 3.0, "cm")])
    spool.close()
    found = tally(said, tmp_path / "intermolt.db", tmp_path / "spool.db")
    assert (found.sent, found.stored, found.lost) == (3, 2, [("p1", 3)])
    assert (found.doubled, found.foreign) == ([("p1", 2)], [("p1", 77)])
    assert (found.doubt, found.doubt_stored, found.memory, found.memory_stored) == (1, 1, 1, 0)
    assert (found.waiting, found.held, found.broken, found.good) == (1, 0, [], False)


def test_an_acknowledgement_of_a_line_said_again_is_not_taken_for_the_next_number(tmp_path: Path) -> None:
    """Two lines of one number, two acknowledgements: the second one is no word of the number after it."""
    probe = Remembering("p1", tmp_path / "p1")
    port = os.open(probe.link, os.O_RDWR | os.O_NOCTTY)
    try:
        probe.turn(True, 10.0, False)
        probe.turn(True, 13.0, False)
        os.write(port, b"OK\n")
        _turns(probe, 13.6)
        assert {n: saying.fate for n, saying in probe.said.items()} == {FIRST: Fate.SENT, FIRST + 1: Fate.OPEN}
        os.write(port, b"OK\n")
        _turns(probe, 13.7)
        assert probe.said[FIRST + 1].fate is Fate.OPEN
        os.write(port, b"OK\n")
        _turns(probe, 13.8)
        assert probe.said[FIRST + 1].fate is Fate.SENT
    finally:
        os.close(port)
        probe.close()


def test_an_answer_counts_when_the_same_collector_asks_on(tmp_path: Path) -> None:
    """Asked on two seconds later: sent. Asked on at once, or by another collector: in doubt."""
    probe = Asked("p1", tmp_path / "p1")
    port = os.open(probe.link, os.O_RDWR | os.O_NOCTTY)
    try:
        for at_s in (10.0, 12.0, 12.5):
            os.write(port, b"?\n")
            _turns(probe, at_s)
        probe.gone(13.0)
        os.write(port, b"?\n")
        _turns(probe, 15.0)
    finally:
        os.close(port)
        probe.close()
    assert [saying.fate for saying in probe.said.values()] == [Fate.SENT, Fate.DOUBT, Fate.DOUBT, Fate.OPEN]


def _turns(probe: Remembering | Asked, at_s: float) -> None:
    """A few looks at one moment: what was written to a pseudo-terminal may take a little to come through."""
    for _ in range(5):
        time.sleep(0.01)
        probe.turn(True, at_s, False)
