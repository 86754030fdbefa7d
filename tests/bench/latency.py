"""From a reading's publication at the broker to the alert in a receiver's hands, beside the bare broker.

    python -m tests.bench.latency [--probes 200] [--seconds 60]

Every probe says temperature and oxygen once a second, each in a pack of its own message, through a stock broker to a
service in a process of its own. Once in the run, at a moment of its own, each probe's temperature steps over its limit
(all delays are zero) and stays there; the alert goes to a local HTTP receiver. One odd reading wakes nobody: the second
one beyond the limit decides, and time counts from its publication. The same publisher and the same broker carry a bare
message ten times a second meanwhile. Goal: 99 of 100 alerts within 1 s.
"""

from __future__ import annotations

import argparse
import json
import random
import statistics
import tempfile
import threading
import time
from pathlib import Path
from typing import Any

from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from api.domain.topics import Topics
from tests.bench.rooms import free_port, serving
from tests.support.http_receiver import Exchange, Receiver
from tests.support.mosquitto import Mosquitto

WARM_UP_S = 5.0
DECIDES = 2
BARE = "bare/round/trip"
HEAD = """
[room]
name = "Bench"
zone = "UTC"
[room.service]
port = {port}
[room.mqtt]
port = {broker}
[[notify]]
name = "hook"
url = "{hook}"
[[care]]
name = "quick"
[care.temperature]
target_low = 20.0
danger_high = 29.0
on_delay_s = 0
danger_on_delay_s = 0
off_delay_s = 0
"""
TANK = """
[[tank]]
id = "t{n}"
name = "t{n}"
care = "quick"
[[probe]]
id = "p{n}"
tank = "t{n}"
driver = "serial_lines"
port = "/dev/null"
every_s = 1
[[probe.value]]
quantity = "temperature"
unit = "Cel"
[[probe.value]]
quantity = "oxygen"
unit = "mg/L"
"""


class Ear:
    """The receiver of alerts: when the first about each tank came."""

    def __init__(self) -> None:
        self.came_s: dict[str, float] = {}

    def hear(self, exchange: Exchange) -> bool:
        """A message."""
        now_s = time.monotonic()
        title = str(json.loads(exchange.body).get("title", ""))
        tank = title.partition(":")[0].split()[-1]
        self.came_s.setdefault(tank, now_s)
        exchange.answer(200, {})
        return True


class Mouth:
    """All probes, over one connection; ``waits_s`` are the bare broker's round trips."""

    def __init__(self, port: int, probes: int, seconds: float) -> None:
        self.client = Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5)
        self.client.on_connect = lambda client, *rest: client.subscribe(BARE, 1)
        self.client.on_message = self._back
        self.client.max_inflight_messages_set(1000)
        self.client.connect("127.0.0.1", port)
        self.client.loop_start()
        self._probes, self._seconds = probes, seconds
        self._topics = Topics("bench")
        chance = random.Random(7)
        self._steps_s = [chance.uniform(WARM_UP_S, seconds - 4) for _ in range(probes)]
        self._beyond = [0] * probes
        self.said_s: dict[str, float] = {}
        self.waits_s: list[float] = []

    def _back(self, client: Client, data: Any, message: MQTTMessage) -> None:
        self.waits_s.append(time.monotonic() - float(message.payload))

    def speak(self) -> None:
        """Say everything, each probe at its own moment of the second."""
        began_s, bare_s = time.monotonic(), 0.0
        for turn in range(round(self._seconds * self._probes)):
            due_s = turn / self._probes
            while (now_s := time.monotonic() - began_s) < due_s:
                time.sleep(due_s - now_s)
            if due_s >= bare_s:
                bare_s = due_s + 0.1
                self.client.publish(BARE, repr(time.monotonic()), 1)
            self._probe(turn % self._probes, due_s)

    def _probe(self, number: int, due_s: float) -> None:
        at_s = time.time_ns() // 1_000_000 / 1000
        over = due_s >= self._steps_s[number]
        noise = random.uniform(-0.05, 0.05)
        records = [
            {"n": f"p{number}/temperature", "u": "Cel", "v": (29.2 if over else 28.8) + noise, "t": at_s},
            {"n": f"p{number}/oxygen", "u": "mg/L", "v": 7.3 + noise, "t": at_s},
        ]
        payload = json.dumps(records)
        if over:
            self._beyond[number] += 1
            if self._beyond[number] == DECIDES:
                self.said_s[f"t{number}"] = time.monotonic()
        self.client.publish(self._topics.readings(f"p{number}"), payload, 1)

    def close(self) -> None:
        """Hang up."""
        self.client.disconnect()
        self.client.loop_stop()


def figures(words: str, waits_s: list[float]) -> str:
    """One line."""
    waits = sorted(waits_s)
    at_99 = waits[min(len(waits) - 1, int(len(waits) * 0.99))]
    return (
        f"{words:<32} {len(waits):>6}   median {statistics.median(waits) * 1000:>7.1f} ms"
        f"   99th percentile {at_99 * 1000:>7.1f} ms   longest {waits[-1] * 1000:>7.1f} ms"
    )


def latency(probes: int, seconds: float) -> tuple[list[float], list[float], int]:
    """Waits of the alerts, waits of the bare broker, alerts that never came."""
    ear = Ear()
    with tempfile.TemporaryDirectory() as name, Mosquitto(Path(name) / "broker") as broker, Receiver() as hook:
        hook.always = ear.hear
        port = free_port()
        room = Path(name) / "room.toml"
        text = HEAD.format(port=port, broker=broker.port, hook=hook.url.replace("http://", "json://"))
        room.write_text(text + "".join(TANK.format(n=n) for n in range(probes)), encoding="utf-8")
        with serving(room, Path(name) / "data", port):
            mouth = Mouth(broker.port, probes, seconds)
            mouth.speak()
            end = threading.Event()
            for _ in range(100):
                if len(ear.came_s) >= len(mouth.said_s) or end.wait(0.1):
                    break
            mouth.close()
    waits = [ear.came_s[tank] - said_s for tank, said_s in mouth.said_s.items() if tank in ear.came_s]
    return waits, mouth.waits_s, len(mouth.said_s) - len(waits)


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--probes", type=int, default=200)
    parser.add_argument("--seconds", type=float, default=60.0)
    given = parser.parse_args()
    alerts, bare, missing = latency(given.probes, given.seconds)
    print(figures("reading published to alert heard", alerts), f"  never came: {missing}")
    print(figures("bare broker, there and back", bare))


if __name__ == "__main__":
    main()
