"""The invented animals of the simulated room: their past as days before today, made into a table to read in.

Must not do: keep anything; the table goes the way of every other.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Collection
from datetime import date, timedelta

DAYS = ("arrived", "measured", "last_molt")


def colony_table(template: str, today: date, tanks: Collection[str]) -> str:
    """The table with days in place of ages, of animals whose tank is one of these.

    A row later in the table says more of the same animal.
    """
    rows = list(csv.DictReader(io.StringIO(template)))
    here = {row["name"] for row in rows if row["tank"] in tanks}
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    for row in (row for row in rows if row["name"] in here):
        told = {name: (today - timedelta(days=int(row[name]))).isoformat() for name in DAYS if row[name]}
        writer.writerow(row | told)
    return out.getvalue()
