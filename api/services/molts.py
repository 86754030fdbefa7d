"""What is expected of the animals: each one's next molt and each clutch's hatching, from their own tanks' record.

Made when it is asked for, kept until an animal's record changes or an hour has passed, and looked after in rounds, as
the first reading of long records takes its time. Must not do: alarm.
"""

from __future__ import annotations

from collections.abc import Callable
from threading import Lock

from api.domain.life import Life
from api.molt.breeding import ClutchOutlook, clutch_outlook, colour_note
from api.molt.outlook import MoltOutlook, RoomOutlook, room_outlook
from api.molt.species_table import figures_of
from api.molt.warmth import Warmth
from api.services.lives import Lives
from api.services.rounds import Rounds
from api.services.tank_warmth import TankWarmth

__all__ = ["ClutchOutlook", "MoltOutlook", "Molts", "RoomOutlook", "colour_note"]
KEPT_MS = 3_600_000
LOOK_EVERY_S = 30.0
WAIT_S = 4.0
"""A page waits so long for one that is being made, then takes the one before. [s]"""


class Molts:
    """Answers what is to come."""

    def __init__(self, lives: Lives, warmth: TankWarmth, now_ms: Callable[[], int]) -> None:
        self._lives, self._warmth = lives, warmth
        self.rounds = Rounds("molts", lambda: self.outlook(now_ms()), LOOK_EVERY_S, now_ms)
        self._lock = Lock()
        self._made: RoomOutlook | None = None
        self._of: dict[int, Life] = {}

    def outlook(self, now_ms: int) -> RoomOutlook | None:
        """Every living animal's next molt, an hour old at most; an older one, or None, while a new one is made."""
        if not self._lock.acquire(timeout=WAIT_S):
            return self._made
        try:
            lives = self._lives.all()
            made = self._made
            if made is None or not 0 <= now_ms - made.now_ms < KEPT_MS or lives != self._of:
                made = room_outlook(lives.values(), self.water(lives, now_ms), now_ms)
                self._made, self._of = made, lives
            return made
        finally:
            self._lock.release()

    def of(self, animal: int, now_ms: int) -> MoltOutlook | None:
        """One animal's next molt; None for one that is dead, not there, or not looked at yet."""
        made = self.outlook(now_ms)
        return made.of(animal) if made is not None else None

    def water(self, lives: dict[int, Life], now_ms: int) -> dict[str, Warmth]:
        """The recorded temperature of every tank these animals were ever in."""
        return self._warmth.all({stay.tank for life in lives.values() for stay in life.stays}, now_ms)

    def clutch(self, animal: int, now_ms: int) -> ClutchOutlook | None:
        """What is expected of the eggs or young an animal carries; None when it carries none."""
        life = self._lives.get(animal)
        if life.clutch is None:
            return None
        tank = life.tank
        water = self._warmth.all({tank}, now_ms)[tank] if tank is not None else Warmth()
        return clutch_outlook(figures_of(life.animal.species), life.clutch, water, now_ms)
