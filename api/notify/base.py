"""What the outbox asks of a notifier. Must not do: retry; the outbox does."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol


@dataclass(frozen=True, slots=True)
class Delivery:
    """Whether the receiver took the message, and if not, why in words."""

    delivered: bool
    reason: str = ""


class Notifier(Protocol):
    """Hands one message to one address and says what became of it; raises nothing."""

    def send(self, url: str, title: str, body: str) -> Delivery:
        """Deliver, or say why not. ``url`` is an Apprise address."""
