"""The outbox's worker: hands waiting messages to the notifier, again and again until it says delivered.

Must not do: close a message before the notifier said so, or stop trying in silence.
"""

from __future__ import annotations

import logging
import random
from collections.abc import Callable

from api.notify.base import Notifier
from api.services.addresses import addresses
from api.services.plan import RoomPlan
from api.services.rounds import Rounds
from api.storage.base import OutboxRow, Store

FIRST_WAIT_S = 5.0
LONGEST_WAIT_S = 300.0
LOOK_EVERY_S = 0.25
log = logging.getLogger("intermolt.deliver")


def wait_s(attempts: int) -> float:
    """How long to wait before the next try: doubled each time, up to five minutes, a fifth of it at random."""
    wait = min(LONGEST_WAIT_S, FIRST_WAIT_S * 2.0 ** min(attempts, 20))
    return wait * (0.8 + 0.2 * random.random())  # noqa: S311 - spreads tries, guards nothing


class Deliver:
    """Works through the outbox in a thread of its own."""

    def __init__(
        self, store: Store, notifier: Notifier, plan: Callable[[], RoomPlan], now_ms: Callable[[], int]
    ) -> None:
        self._store, self._notifier, self._plan, self._now_ms = store, notifier, plan, now_ms
        self.rounds = Rounds("deliver", self.once, LOOK_EVERY_S, now_ms)

    def once(self) -> int:
        """Try every message that is due; how many were delivered."""
        urls = addresses(self._plan())
        down: dict[str, str] = {}
        return sum(self._try(row, urls.get(row.target), down) for row in self._store.state.due(self._now_ms(), 50))

    def _try(self, row: OutboxRow, url: str | None, down: dict[str, str]) -> bool:
        """One message; an address that failed is not asked again in this round, so that it holds up no other."""
        self.rounds.goes_on()
        if row.target in down:
            reason = down[row.target]
        elif url is None:
            reason = f"there is no address named {row.target!r} any more; see [[notify]] and [[person]] in room.toml"
        else:
            result = self._notifier.send(url, row.title, row.body)
            if result.delivered:
                self._store.write(lambda: self._store.state.delivered(row.id, self._now_ms())).result()
                return True
            reason = down[row.target] = result.reason
        now_ms = self._now_ms()
        next_ms = now_ms + round(wait_s(row.attempts) * 1000)
        self._store.write(lambda: self._store.state.tried(row.id, now_ms, next_ms, reason)).result()
        if row.attempts == 0:
            log.warning("message=%d target=%s not delivered: %s", row.id, row.target, reason)
        return False
