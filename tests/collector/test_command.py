"""The whole process: started, watched, killed, unplugged, stopped, as a keeper's computer does it."""

from __future__ import annotations

import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import pytest

from collector.spool import NAME, Spool
from tests.collector.conftest import Until
from tests.support.http_receiver import Exchange, Receiver, status
from tests.support.serial_line import SerialLine

LONG_HEADER = "probe,quantity,time,value,unit\n"


@pytest.fixture
def room(tmp_path: Path) -> Path:
    """A room with two probes on links that the tests plug in."""
    text = '[room]\nname = "east"\nzone = "UTC"\n'
    for probe in ("p1", "p2"):
        text += f'[[probe]]\nid = "{probe}"\ndriver = "serial_lines"\nport = "{tmp_path / probe}"\nevery_s = 1\n'
        text += 'time_field = 2\ntime_format = "unix"\n[[probe.value]]\nquantity = "temperature"\nunit = "Cel"\n'
    path = tmp_path / "room.toml"
    path.write_text(text)
    return path


@pytest.fixture
def lines(tmp_path: Path) -> Iterator[list[SerialLine]]:
    """Both probes, plugged in."""
    with ExitStack() as stack:
        yield [stack.enter_context(SerialLine(tmp_path / name)) for name in ("p1", "p2")]


def command(room: Path, data: Path, url: str, *more: str) -> list[str]:
    """The command line."""
    words = ["--room", str(room), "--data", str(data), "--service", url, *more]
    return [sys.executable, "-m", "collector", *words]


@contextmanager
def collecting(room: Path, data: Path, url: str) -> Iterator[subprocess.Popen[str]]:
    """A running collector, killed at the end if the test did not stop it."""
    with subprocess.Popen(command(room, data, url), stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True) as run:
        assert run.stdout is not None
        assert run.stdout.readline().startswith("collector main: 2 probes, readings kept in ")
        try:
            yield run
        finally:
            if run.poll() is None:
                run.kill()


def run(*words: str) -> subprocess.CompletedProcess[str]:
    """Run to the end."""
    return subprocess.run(words, capture_output=True, text=True, timeout=30, check=False)


def long_rows(count: int, first: int = 0) -> str:
    """Rows of the long layout."""
    return "".join(
        f"p{n % 3},temperature,{1_900_000_000 + n},{20 + n % 50 / 10},Cel\n" for n in range(first, first + count)
    )


def test_verify_says_yes_or_names_the_line_and_the_nearest_key(room: Path, data: Path) -> None:
    """Exit codes 0 and 2, one line, no traceback."""
    good = run(sys.executable, "-m", "collector", "--room", str(room), "--verify")
    assert (good.returncode, good.stdout) == (0, f"{room}: 2 probes can be read\n")
    room.write_text(room.read_text().replace("time_format", "time_fromat", 1))
    bad = run(sys.executable, "-m", "collector", "--room", str(room), "--verify")
    assert (bad.returncode, bad.stdout) == (2, "")
    where = f"{room}, line 10: [probe] key 'time_fromat' is not known. Did you mean 'time_format'?"
    assert bad.stderr == f"collector: {where}\n"


def test_killed_in_the_middle_nothing_that_was_read_is_lost_or_doubled(
    room: Path, data: Path, lines: list[SerialLine], receiver: Receiver, until: Until
) -> None:
    """kill -9 while the service is away: what the spool has goes out after the restart, and the rest is read then."""
    receiver.always = status(503)
    said = 0
    for _ in range(2):
        with collecting(room, data, receiver.url) as process:
            for _ in range(40):
                for line in lines:
                    line.say(f"24.31,{1_900_000_000 + said}\n")
                said += 1
                time.sleep(0.005)
            time.sleep(0.3)
            process.kill()
            process.wait()
    spool = Spool(data / NAME)
    kept = [(f"{r.probe}/temperature", r.time_ms / 1000) for _, r in spool.take(1000).rows]
    spool.close()
    assert len(kept) == len(set(kept)) == 2 * said
    receiver.always = None
    with collecting(room, data, receiver.url):
        until(lambda: len(receiver.records) == 2 * said)
    assert receiver.order == kept


def test_pulling_one_probe_out_does_not_disturb_the_other(
    room: Path, data: Path, lines: list[SerialLine], receiver: Receiver, until: Until
) -> None:
    """The service is told within moments, and the probe is read again when it is plugged in."""

    def states() -> dict[str, str]:
        return {port["probe"]: port["state"] for port in receiver.statuses[-1][1]["ports"]} if receiver.statuses else {}

    with collecting(room, data, receiver.url):
        at = 1_900_000_000
        for line in lines:
            line.say(f"24.31,{at}\n")
        until(lambda: states() == {"p1": "reading", "p2": "reading"})
        lines[0].unplug()
        until(lambda: states() == {"p1": "failing", "p2": "reading"})
        port = receiver.statuses[-1][1]["ports"][0]
        assert "unplugged" in port["error"] or "is the probe plugged in?" in port["error"]
        lines[1].say(f"24.32,{at + 1}\n")
        until(lambda: ("p2/temperature", float(at + 1)) in receiver.records)
        lines[0].plug()
        lines[0].say(f"24.33,{at + 2}\n")
        until(lambda: ("p1/temperature", float(at + 2)) in receiver.records)
        until(lambda: states() == {"p1": "reading", "p2": "reading"})
    assert receiver.statuses[-1][0] == "/api/v1/collectors/main"


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_asked_to_stop_it_does_within_five_seconds(
    number: signal.Signals, room: Path, data: Path, lines: list[SerialLine], receiver: Receiver, until: Until
) -> None:
    """Even while the service takes for ever to answer; what was read is in the spool."""

    def dawdle(exchange: Exchange) -> bool:
        time.sleep(8.0)
        return True

    receiver.always = dawdle
    with collecting(room, data, receiver.url) as process:
        lines[0].say("24.31,1900000000\n")
        until(lambda: ("POST", "/api/v1/readings") in receiver.requests)
        start_s = time.monotonic()
        process.send_signal(number)
        assert process.wait(8.0) == 0
        assert time.monotonic() - start_s < 5.0
    spool = Spool(data / NAME)
    assert spool.waiting() == 1
    spool.close()


def test_relative_ports_begin_beside_the_room_file(
    room: Path, data: Path, lines: list[SerialLine], receiver: Receiver, until: Until, tmp_path: Path
) -> None:
    """Wherever the collector is started."""
    room.write_text(room.read_text().replace(f"{tmp_path}/", ""))
    assert 'port = "p1"' in room.read_text()
    with collecting(room, data, receiver.url):
        lines[0].say("24.31,1900000000\n")
        until(lambda: ("p1/temperature", 1_900_000_000.0) in receiver.records)


def test_once_says_accepted_only_of_what_was(room: Path, data: Path, receiver: Receiver, tmp_path: Path) -> None:
    """Refused readings do not count as progress."""
    file = tmp_path / "old.csv"
    file.write_text(LONG_HEADER + long_rows(9))
    receiver.refuse = lambda record: "no such probe"
    done = run(*command(room, data, receiver.url, "--once", str(file)))
    assert done.returncode == 1
    assert "0 of 0 readings accepted by the service" in done.stderr
    assert "; 9 refused" in done.stderr


def test_two_collectors_never_share_a_data_folder(
    room: Path, data: Path, lines: list[SerialLine], receiver: Receiver
) -> None:
    """The second says who was first and what to do."""
    with collecting(room, data, receiver.url) as first:
        second = run(*command(room, data, receiver.url))
        assert second.returncode == 2
        expected = f"collector: another collector (process {first.pid}) keeps its readings in {data}: "
        assert second.stderr.startswith(expected)
        assert second.stderr.count("\n") == 1


def test_once_brings_a_file_to_the_service_and_says_how_far_it_is(
    room: Path, data: Path, receiver: Receiver, tmp_path: Path
) -> None:
    """Plain lines where there is no terminal; no probe is read."""
    file = tmp_path / "old.csv"
    file.write_text(LONG_HEADER + long_rows(2500))
    done = run(*command(room, data, receiver.url, "--once", str(file)))
    assert (done.returncode, done.stdout) == (0, "")
    assert "2500 of 2500 readings accepted by the service" in done.stderr
    assert len(receiver.records) == 2500
    assert max(receiver.packs) == 1000
    assert {method for method, _ in receiver.requests} == {"POST"}
    again = run(*command(room, data, receiver.url, "--once", str(file)))
    assert again.returncode == 0
    assert len(receiver.order) == 2500
    assert receiver.duplicates == 0


def test_once_interrupted_goes_on_where_it_was(
    room: Path, data: Path, receiver: Receiver, tmp_path: Path, until: Until
) -> None:
    """kill -9 half-way through, twice: every row arrives, and the service is given hardly any of them twice."""
    file = tmp_path / "old.csv"
    count = 60_000
    file.write_text(LONG_HEADER + long_rows(count))
    for share in (0.2, 0.5):
        with subprocess.Popen(
            command(room, data, receiver.url, "--once", str(file)), stderr=subprocess.DEVNULL
        ) as part:
            until(lambda share=share: len(receiver.records) > count * share)  # type: ignore[misc]
            part.kill()
    assert len(receiver.records) < count
    done = run(*command(room, data, receiver.url, "--once", str(file)))
    assert done.returncode == 0
    assert len(receiver.records) == count
    assert receiver.duplicates <= 2 * 1000


def test_once_stopped_while_readings_wait_is_not_done(
    room: Path, data: Path, receiver: Receiver, tmp_path: Path, until: Until
) -> None:
    """Though the whole file is in the spool: exit code 1, and the same command goes on."""
    file = tmp_path / "old.csv"
    file.write_text(LONG_HEADER + long_rows(20))
    receiver.always = status(503)
    with subprocess.Popen(
        command(room, data, receiver.url, "--once", str(file)), stderr=subprocess.PIPE, text=True
    ) as part:
        until(lambda: len(receiver.requests) >= 2)
        part.terminate()
        said = part.communicate(timeout=6.0)[1]
    assert part.returncode == 1
    assert "stopped after 0 readings; the same command goes on from here" in said
    receiver.always = None
    assert run(*command(room, data, receiver.url, "--once", str(file))).returncode == 0
    assert len(receiver.records) == 20


def test_once_with_rows_that_cannot_be_used_brings_the_others_and_exits_1(
    room: Path, data: Path, receiver: Receiver, tmp_path: Path
) -> None:
    """Each kind is counted and shown by example."""
    file = tmp_path / "old.csv"
    file.write_text(LONG_HEADER + long_rows(10) + "p1,temperature,1900000100,ERR,Cel\n")
    receiver.refuse = lambda record: "no such probe" if record["n"].startswith("p2/") else ""
    done = run(*command(room, data, receiver.url, "--once", str(file)))
    assert done.returncode == 1
    assert "7 readings accepted" in done.stderr
    assert "3 readings refused by the service" in done.stderr
    assert "1 rows could not be read" in done.stderr
    assert "'ERR' is not a number" in done.stderr


@pytest.mark.parametrize(("content", "words"), [(None, "No such file"), ("a,b\n1,2\n", "there is no column 'probe'")])
def test_once_with_a_file_that_is_none_exits_2(
    content: str | None, words: str, room: Path, data: Path, receiver: Receiver, tmp_path: Path
) -> None:
    """One line, no traceback."""
    file = tmp_path / "old.csv"
    if content is not None:
        file.write_text(content)
    done = run(*command(room, data, receiver.url, "--once", str(file)))
    assert done.returncode == 2
    assert words in done.stderr
    assert "Traceback" not in done.stderr


def test_bad_usage_exits_2() -> None:
    """As argparse does."""
    assert run(sys.executable, "-m", "collector", "--romo", "x").returncode == 2
