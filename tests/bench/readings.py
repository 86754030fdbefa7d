"""Readings per second through POST /api/v1/readings beside a bare decode-and-insert loop, in one run.

    python -m tests.bench.readings [--packs 2000] [--rounds 3]

Ours: packs of 20 over HTTP to a service in its own process; each pack is converted, checked, judged, summarised and
forced to disk before its answer. Reference: json.loads and INSERT of the same packs into the same table of a fresh
file with the same settings, one commit a pack. Prints both, and the ratio of medians (goal: 0.25 or better).
"""

from __future__ import annotations

import argparse
import json
import socket
import statistics
import tempfile
import threading
import time
from pathlib import Path

from api.storage.migrations import migrate
from api.storage.sqlite import connect
from tests.bench.rooms import pack, resident_mb, service

SENDERS = 8
INSERT = "INSERT OR IGNORE INTO reading VALUES (?, ?, ?, ?, ?, ?, NULL, 0)"


def bare(folder: Path, packs: list[bytes], round_number: int) -> float:
    """Readings per second of the reference."""
    connection = connect(folder / f"bare-{round_number}.db")
    migrate(connection)
    channels: dict[str, int] = {}
    start_s = time.perf_counter()
    for body in packs:
        rows = []
        for record in json.loads(body):
            channel = channels.setdefault(record["n"], len(channels) + 1)
            rows.append((channel, round(record["t"] * 1000), record["v"], record["u"], record["v"], 1))
        connection.execute("BEGIN IMMEDIATE")
        connection.executemany(INSERT, rows)
        connection.execute("COMMIT")
    took_s = time.perf_counter() - start_s
    connection.close()
    return len(packs) * 20 / took_s


def send(port: int, token: str, packs: list[bytes]) -> None:
    """Post packs over one connection, each after the answer to the one before."""
    head = (
        f"POST /api/v1/readings HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nAuthorization: Bearer {token}\r\n"
        "Content-Type: application/senml+json\r\nContent-Length: "
    )
    with socket.create_connection(("127.0.0.1", port)) as line:
        line.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        for body in packs:
            line.sendall(f"{head}{len(body)}\r\n\r\n".encode() + body)
            answer = line.recv(65536)
            while b'"refused":[' not in answer:
                more = line.recv(65536)
                if not more:
                    raise RuntimeError(f"the service hung up: {answer[:300]!r}")
                answer += more
            if b'"accepted":20' not in answer:
                raise RuntimeError(f"not all accepted: {answer[:500]!r}")


def ours(port: int, token: str, shares: list[list[bytes]]) -> float:
    """Readings per second through the service, one connection a share."""
    threads = [threading.Thread(target=send, args=(port, token, share)) for share in shares]
    start_s = time.perf_counter()
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return sum(map(len, shares)) * 20 / (time.perf_counter() - start_s)


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--packs", type=int, default=2000)
    parser.add_argument("--rounds", type=int, default=3)
    given = parser.parse_args()
    bare_rates, alone_rates, our_rates = [], [], []
    with tempfile.TemporaryDirectory() as name, service(Path(name), SENDERS) as (port, data, process):
        token = (data / "collector.token").read_text().strip()
        each = given.packs // SENDERS
        for round_number in range(given.rounds):
            first = round_number * each * 2
            shares = [[pack(first + number, probe) for number in range(each)] for probe in range(SENDERS)]
            bare_rates.append(bare(Path(name), [body for share in shares for body in share], round_number))
            our_rates.append(ours(port, token, shares))
            alone_rates.append(ours(port, token, [[pack(first + each + number, 0) for number in range(each)]]))
        memory_mb = resident_mb(process.pid)
    reference = statistics.median(bare_rates)
    print(f"bare decode and insert        {reference:>9,.0f} readings/s")
    for words, rates in (
        (f"through the service, {SENDERS} senders", our_rates),
        ("through the service, 1 sender ", alone_rates),
    ):
        print(
            f"{words} {statistics.median(rates):>9,.0f} readings/s   ratio {statistics.median(rates) / reference:.2f}"
        )
    print(f"service's resident memory     {memory_mb:>9.0f} MB")


if __name__ == "__main__":
    main()
