"""A collector that listens to a broker, killed again and again: each message is stored once, though none has a time."""

from __future__ import annotations

import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from tests.collector.conftest import Until
from tests.support.broker import Broker
from tests.support.http_receiver import Receiver

ROOM = """
[room]
name = "east"
zone = "UTC"
[room.mqtt]
port = {port}
version = "{version}"
[[probe]]
id = "p1"
driver = "mqtt_topics"
topic = "t/1"
every_s = 1
[[probe.value]]
quantity = "temperature"
unit = "Cel"
"""
KILLS = 4


class Numbered(threading.Thread):
    """Publishes 0, 1, 2 ... until told to stop."""

    def __init__(self, broker: Broker) -> None:
        super().__init__(daemon=True)
        self._broker, self.stop, self.count = broker, threading.Event(), 0

    def run(self) -> None:
        """One every five milliseconds."""
        with self._broker.publisher() as publisher:
            while not self.stop.wait(0.005):
                publisher.say("t/1", str(self.count))
                self.count += 1


def _values(receiver: Receiver) -> list[float]:
    return [record["v"] for record in list(receiver.records.values())]


@pytest.mark.parametrize("version", ["5", "3.1.1"])
def test_killed_again_and_again_nothing_is_lost_or_doubled(
    version: str, tmp_path: Path, data: Path, receiver: Receiver, until: Until
) -> None:
    """kill -9 at any moment; what the broker had no acknowledgement for it sends again."""
    room = tmp_path / "room.toml"
    with Broker(tmp_path / "broker") as broker:
        room.write_text(ROOM.format(port=broker.port, version=version))
        command = [sys.executable, "-m", "collector", "--room", str(room), "--data", str(data)]
        command += ["--service", receiver.url]
        publisher = Numbered(broker)
        publisher.start()
        for kill in range(KILLS + 1):
            with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.STDOUT) as process:
                before = len(receiver.records)
                until(lambda: len(receiver.records) > before + 20)  # noqa: B023 looked at in this round only
                if kill == KILLS:
                    publisher.stop.set()
                    publisher.join()
                    until(lambda: max(_values(receiver)) == publisher.count - 1)
                    time.sleep(0.5)
                process.kill()
    values = sorted(_values(receiver))
    first = int(values[0])
    assert values == [float(number) for number in range(first, publisher.count)]
    assert first < 300, "what was published before the first start nobody had asked for"
