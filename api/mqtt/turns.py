"""Acknowledgements to the broker in the order its messages came, as MQTT asks for, each only once it may be given.

Must not do: acknowledge over another connection than the one a message came by: the number may mean another message.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass


@dataclass(eq=False, slots=True)
class Turn:
    """One message's place in the order."""

    number: int
    quality: int
    done: bool = False


class Turns:
    """The messages of one connection that are not acknowledged yet."""

    def __init__(self, acknowledge: Callable[[int, int], object]) -> None:
        self._acknowledge = acknowledge
        self._waiting: deque[Turn] = deque()
        self._lock = threading.Lock()
        self.open = True

    def take(self, number: int, quality: int) -> Turn:
        """A message came. Of quality 0 there is nothing to acknowledge."""
        turn = Turn(number, quality)
        if quality:
            with self._lock:
                self._waiting.append(turn)
        return turn

    def done(self, turn: Turn, then: Callable[[], object] = lambda: None) -> None:
        """The message need not come again; ``then`` is called while the connection still stands."""
        with self._lock:
            turn.done = True
            while self.open and self._waiting and self._waiting[0].done:
                first = self._waiting.popleft()
                self._acknowledge(first.number, first.quality)
            if self.open:
                then()

    def while_open(self, then: Callable[[], object]) -> None:
        """Call ``then`` while the connection still stands."""
        with self._lock:
            if self.open:
                then()

    def close(self) -> None:
        """The connection has ended."""
        with self._lock:
            self.open = False
            self._waiting.clear()
