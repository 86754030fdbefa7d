"""The topics readings take through an MQTT broker, and the name of a pack that both its ends can work out.

Pure: the collector and the service each hold the connection. Must not do: let a room's name become a wildcard.

    intermolt/<room>/<probe id>/readings            a pack, SenML JSON, QoS 1
    intermolt/<room>/<probe id>/kept                the service's answer to it
    intermolt/<room>/collector/<name>/status        how a collector is
    intermolt/<room>/collector/<name>/kept          answers to that, and to packs that ask for this topic (MQTT 5)
    intermolt/<room>/collector/<name>/state         "here" or "gone", retained
    intermolt/<room>/service/state                  "here" or "gone", retained
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from hashlib import sha256
from unicodedata import normalize

from api.domain.reading import PROBE_ID

PREFIX = "intermolt"
HERE, GONE = b"here", b"gone"
MOST_LEVEL = 64


def room_level(name: str) -> str:
    """A room's name as one level of a topic: small letters, digits and hyphens; never empty, never a wildcard."""
    plain = normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    level = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:MOST_LEVEL].strip("-")
    return level or f"room-{_digest(name.encode('utf-8', 'replace'), 8)}"


def pack_id(payload: bytes) -> str:
    """The name of a pack: the first 32 hexadecimal digits of its payload's SHA-256."""
    return _digest(payload, 32)


def _digest(content: bytes, digits: int) -> str:
    return sha256(content).hexdigest()[:digits]


@dataclass(frozen=True, slots=True)
class Topics:
    """The topics of one room; ``room`` is its level, from ``room_level``."""

    room: str

    def readings(self, probe: str = "+") -> str:
        """Where a probe's packs go; without a probe, a filter for all of them."""
        return f"{PREFIX}/{self.room}/{probe}/readings"

    def kept(self, probe: str = "+") -> str:
        """Where answers to a probe's packs go."""
        return f"{PREFIX}/{self.room}/{probe}/kept"

    def status(self, collector: str = "+") -> str:
        """Where a collector's word of itself goes."""
        return f"{PREFIX}/{self.room}/collector/{collector}/status"

    def answers(self, collector: str) -> str:
        """Where answers to one collector go."""
        return f"{PREFIX}/{self.room}/collector/{collector}/kept"

    def collector_state(self, collector: str) -> str:
        """Where it stands whether a collector is connected."""
        return f"{PREFIX}/{self.room}/collector/{collector}/state"

    @property
    def service_state(self) -> str:
        """Where it stands whether the service is connected."""
        return f"{PREFIX}/{self.room}/service/state"

    def probe_of(self, topic: str) -> str | None:
        """The probe whose packs come on a topic; None when it is no such topic or no probe can be called so."""
        levels = topic.split("/")
        ours = len(levels) == 4 and levels[:2] == [PREFIX, self.room] and levels[3] == "readings"
        return levels[2] if ours and PROBE_ID.match(levels[2]) else None

    def collector_of(self, topic: str) -> str | None:
        """The collector whose status comes on a topic."""
        levels = topic.split("/")
        ours = len(levels) == 5 and levels[:3] == [PREFIX, self.room, "collector"] and levels[4] == "status"
        return levels[3] if ours and PROBE_ID.match(levels[3]) else None

    def answer_topic(self, topic: str, asked: str) -> str:
        """Where the answer to a message goes: where it asked, as far as that is a place for answers in this room."""
        levels = asked.split("/")
        allowed = levels[:2] == [PREFIX, self.room] and levels[-1] == "kept" and 4 <= len(levels) <= 5
        if allowed and all(PROBE_ID.match(level) for level in levels[2:]):
            return asked
        return f"{topic.rpartition('/')[0]}/kept"
