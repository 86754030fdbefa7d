"""The kept summaries of a channel as means of equal spans. Must not do: leave out what is only suspect."""

from __future__ import annotations

import numpy as np

from api.domain.quantity import Quantity
from api.judge.conditions import Means
from api.storage.base import Store


def kept_means(store: Store, probe: str, quantity: Quantity, start_ms: int, end_ms: int, step_s: int) -> Means:
    """Spans that touch the time from start to end and hold a usable reading; ``step_s`` is a length that is kept."""
    length_ms = step_s * 1000
    rows = store.readings.kept_spans(probe, quantity, start_ms - start_ms % length_ms, end_ms, step_s)
    table = np.array(rows, np.float64).reshape(-1, 6)
    used = table[table[:, 1] > 0]
    return Means(used[:, 0].astype(np.int64), used[:, 2] / used[:, 1], used[:, 3], used[:, 4], length_ms)
