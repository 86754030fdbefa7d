"""What the services ask of a store about reaching people, as a protocol: ladders, who was told what, links used.

Writes inside ``Store.write`` only, so that a ladder's step and its messages are one transaction.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple, Protocol

from api.judge.ladder import Ladder

ALERT, TEST, REPORT = "alert", "test", "report"


class LinkUse(NamedTuple):
    """What became of a link: who answered what, and when."""

    person: str
    answer: str
    time_ms: int


class SentTest(NamedTuple):
    """The newest test message to one target."""

    target: str
    created_ms: int
    attempts: int
    delivered_ms: int | None
    last_error: str


class ReachStore(Protocol):
    """Ladders of alerts, and messages by whom they told."""

    def start(self, alert: int, now_ms: int) -> None:
        """An alert has to be told, or told anew: its ladder is looked at in the next round."""

    def ladders(self) -> list[Ladder]:
        """Ladders of alerts that are not over yet, oldest alert first."""

    def ladder(self, alert: int) -> Ladder | None:
        """The ladder of one alert."""

    def keep(self, ladder: Ladder) -> None:
        """Keep how far a ladder is."""

    def drop(self, alert: int) -> None:
        """An alert is over and everyone who was told of it knows."""

    def tell(
        self, target: str, title: str, body: str, tells: Sequence[tuple[int, int]], now_ms: int, purpose: str = ALERT
    ) -> int:
        """Put one message into the outbox and return its id; ``tells`` are (alert, the ladder's count of tellings).

        What waits there for the same target and says no more than this one is withdrawn.
        """

    def told_targets(self, alert: int) -> list[str]:
        """Who was told of an alert, or is about to be, each once."""

    def heard(self, alert: int, target: str) -> bool:
        """Whether any message about an alert was put out for a target."""

    def reached(self, alert: int, tell: int) -> bool | None:
        """Whether a telling reached anybody: None while a first try is still to come, or when there was none."""

    def last_ms(self, target: str, other_than: int) -> int | None:
        """When a message about any other alert was last put out for a target. [ms]"""

    def use_link(self, link: str, use: LinkUse) -> bool:
        """Note that a link was used; False when it was used before."""

    def link_use(self, link: str) -> LinkUse | None:
        """What became of a link; None: it was not used."""

    def tests(self) -> list[SentTest]:
        """The newest test message of each target."""
