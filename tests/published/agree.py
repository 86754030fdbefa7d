"""Writes api/science/agreement.json: how far our figures are from the published ones, a line a group and source.

    python -m tests.published.agree

Must not do: leave a row out; rows that cannot be met are counted apart.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np

from api.science.oxygen import saturation_mg_l
from tests.published.ours import GROUPS, gsw_mg_l, ours, rows, unmet

TARGET = Path(__file__).parents[2] / "api" / "science" / "agreement.json"
DIGITS = 3
TEOS_10 = (("fresh water", 0.0, 0.002), ("salinity 5", 5.0, 0.0025), ("sea water, salinity 35", 35.0, 0.002))
"""Waters tried beside the reference library, with the goal in mg/L."""


def lines() -> list[dict[str, Any]]:
    """A line a group, source and unit, in the order of the groups."""
    out = [_beside_teos_10(*one) for one in TEOS_10]
    kept = unmet()
    for group in GROUPS:
        found: dict[tuple[str, str], list[tuple[float, float, str]]] = {}
        left: dict[tuple[str, str], int] = {}
        for row in rows(group):
            key = (row["source"], row["unit"])
            found.setdefault(key, [])
            if row["id"] in kept:
                left[key] = left.get(key, 0) + 1
            else:
                found[key].append((abs(ours(row) - row["value"]), row["tolerance"], row["id"]))
        out += [_line(group, *key, differences, left.get(key, 0)) for key, differences in found.items()]
    return out


def _line(group: str, source: str, unit: str, differences: list[tuple[float, float, str]], left: int) -> dict[str, Any]:
    largest, tolerance, row = max(differences, default=(0.0, 0.0, ""))
    return {
        "group": group,
        "source": source,
        "rows": len(differences),
        # what is left of rounding differs from processor to processor
        "largest": 0.0 if largest < 1e-9 else float(f"{largest:.{DIGITS}g}"),
        "tolerance": tolerance,
        "unit": unit,
        "row": row,
        "unmet": left,
    }


def _beside_teos_10(water: str, salinity_psu: float, tolerance: float) -> dict[str, Any]:
    """1 atm, every tenth of a degree."""
    temperatures_c = np.arange(0.0, 40.01, 0.1)
    away = np.abs(saturation_mg_l(temperatures_c, 101.325, salinity_psu) - gsw_mg_l(temperatures_c, salinity_psu))
    worst = int(np.argmax(away))
    source = f"TEOS-10, reference library gsw, {water}, 0 to 40 Cel by 0.1"
    differences = [(float(away[worst]), tolerance, f"{temperatures_c[worst]:.1f} Cel")]
    return _line("oxygen saturation", source, "mg/L", differences, 0) | {"rows": len(away)}


def text() -> str:
    """The file's text."""
    return "[\n" + ",\n".join(json.dumps(line, ensure_ascii=False) for line in lines()) + "\n]\n"


if __name__ == "__main__":
    TARGET.write_text(text(), encoding="utf-8")
    for one in lines():
        print(f"{one['group']:22} {one['rows']:4} rows  {one['largest']:<10g} {one['unit']:12} {one['source'][:70]}")
