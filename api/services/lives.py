"""Every animal's life, kept in memory and renewed when its record was touched, by whichever process did it.

Must not do: look at work that is not committed yet (``fresh`` alone does, and remembers nothing).
"""

from __future__ import annotations

from threading import Lock

from api.domain.errors import NotFound
from api.domain.husbandry import EventKind, Husbandry
from api.domain.life import Life, life_of
from api.services.entries import animal_of, entry_of
from api.storage.animal_base import Asked
from api.storage.base import Store

NOT_OF_A_LIFE = frozenset({EventKind.FED, EventKind.CALCIUM, EventKind.WATER_CHANGED, EventKind.TESTED, EventKind.NOTE})
"""Many, and a life does not depend on them."""
OF_A_LIFE = tuple(str(kind) for kind in EventKind if kind not in NOT_OF_A_LIFE)


class Lives:
    """Lives of all animals."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._lock = Lock()
        self._known: dict[int, Life] = {}
        self._touched = -1

    def all(self) -> dict[int, Life]:
        """Every animal by its number, in the order they were entered."""
        with self._lock:
            touched = self._store.animals.touched()
            if touched != self._touched:
                self._renew(touched)
            return dict(self._known)

    def _renew(self, touched: int) -> None:
        if touched < self._touched:
            self._known, self._touched = {}, -1
        rows = self._store.animals.animals(self._touched)
        events: dict[int, list[Husbandry]] = {row.id: [] for row in rows}
        for one in self._store.animals.of_animals(list(events), OF_A_LIFE):
            if one.animal is not None:
                events[one.animal].append(entry_of(one).event)
        for row in rows:
            self._known[row.id] = life_of(row.id, animal_of(row.body), events[row.id])
        self._known = dict(sorted(self._known.items()))
        self._touched = max((row.touched for row in rows), default=touched)

    def get(self, animal: int) -> Life:
        """One animal.

        Raises NotFound.
        """
        found = self.all().get(animal)
        if found is None:
            raise NotFound(f"there is no animal {animal}")
        return found

    def fresh(self, animal: int, without: int | None = None) -> Life:
        """One animal as the writer sees it now, leaving out one event.

        Raises NotFound.
        """
        kept = self._store.animals.animal(animal)
        if kept is None:
            raise NotFound(f"there is no animal {animal}")
        asked = Asked(animal=animal, kinds=OF_A_LIFE, standing=True)
        events = [entry_of(row).event for row in self._store.animals.events(asked) if row.id != without]
        return life_of(animal, animal_of(kept.body), events)

    def in_tank(self, tank: str) -> list[Life]:
        """The living animals of a tank."""
        return [life for life in self.all().values() if life.tank == tank]
