"""What a premolt sign says: how much likelier it is so many days before a molt than far from one.

Every likelihood is judgement, guided by keepers' figures. Must not do: let several signs outweigh the clock without
bound; they tend to come together.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from api.domain.husbandry import PremoltSign
from api.domain.life import Sign
from api.molt.clock import DAY_MS
from api.science.arrays import Floats

LIKELIER = {
    PremoltSign.STOPPED_FEEDING: ((1.0, 8.0), (3.5, 8.0), (6.0, 2.0), (9.0, 1.0)),
    PremoltSign.HIDING: ((2.0, 3.0), (5.0, 2.0), (8.0, 1.0)),
    PremoltSign.DULL_SHELL: ((3.0, 6.0), (7.0, 4.0), (14.0, 1.5), (18.0, 1.0)),
    PremoltSign.SEAM_GAP: ((1.0, 80.0), (2.0, 20.0), (4.0, 3.0), (7.0, 1.0)),
}
"""By days from the sign to the molt: how much likelier the sign is than far from a molt, straight between the points.

Appetite falls 2 to 3 days before, a 1 mm gap at the seam comes within 24 h of it (molt_signs); new cuticle and a body
that gives between the fingers come 4 to 5 days before (stevenson_molt_stages). The sizes are judgement."""
MOST = 120.0
"""All signs together are never taken for more than this. Judgement. [1]"""


def likelier(signs: Sequence[Sign], from_ms: int, ahead_d: Floats) -> Floats:
    """How much likelier all signs are if the molt comes so many days from a time, than if it were far. [1]

    Of one sign seen several times the last counts; a molt before the sign is as little likely as far from one.
    """
    last: dict[PremoltSign, int] = {}
    for one in signs:
        for kind in one.signs:
            last[kind] = max(one.time_ms, last.get(kind, one.time_ms))
    out = np.ones(ahead_d.size)
    for kind, time_ms in last.items():
        days = ahead_d + (from_ms - time_ms) / DAY_MS
        points = np.array(LIKELIER[kind])
        out *= np.where(days >= 0.0, np.interp(days, points[:, 0], points[:, 1]), 1.0)
    return np.minimum(out, MOST)
