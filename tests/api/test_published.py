"""Our figures beside published ones: every row of tests/published, within the row's own tolerance.

Each row names its source. Rows that cannot be met stand in unmet.json with the reason; they are not loosened.
"""

from __future__ import annotations

import json

import gsw
import numpy as np
import pytest

from api.science.agreement import agreements
from api.science.formulas import FORMULAS
from api.science.oxygen import saturation_mg_l
from api.science.references import BY_KEY, REFERENCES
from tests.published import agree
from tests.published.ours import GROUPS, Row, gsw_mg_l, ours, rows, unmet

ROWS = [row for group in GROUPS for row in rows(group)]
UNMET = unmet()
AWAY = {"pss78": 1e-7, "F2C": 1e-6}
"""How far from a rounded figure ours may be, relative: half a unit of its last digit."""


@pytest.mark.parametrize("row", ROWS, ids=[row["id"] for row in ROWS])
def test_published_row(row: Row) -> None:
    """Within the row's own tolerance, or listed as unmet and then no further away than the reason says."""
    if row["id"] in UNMET:
        print(f"{row['id']} cannot be met: {UNMET[row['id']]}")
        assert abs(ours(row) - row["value"]) > row["tolerance"]
        assert ours(row) == pytest.approx(row["value"], rel=next(AWAY[k] for k in AWAY if row["id"].startswith(k)))
    else:
        assert ours(row) == pytest.approx(row["value"], abs=row["tolerance"])


def test_all_rows_are_here() -> None:
    """Every id once, each with a source and how it was obtained; what is unmet is a row."""
    ids = [row["id"] for row in ROWS]
    assert len(ids) == len(set(ids)) == 474
    assert all(row["source"] and row["how_obtained"] for row in ROWS)
    assert set(UNMET) <= set(ids)


@pytest.mark.parametrize(("salinity_psu", "goal_mg_l"), [one[1:] for one in agree.TEOS_10])
def test_oxygen_beside_teos10(salinity_psu: float, goal_mg_l: float) -> None:
    """0 to 40 C, 1 atm: within 0.002 mg/L of the reference library in fresh and sea water (TEOS-10, gsw)."""
    temperatures_c = np.arange(0.0, 40.01, 0.1)
    mine = saturation_mg_l(temperatures_c, 101.325, salinity_psu)
    assert float(np.max(np.abs(mine - gsw_mg_l(temperatures_c, salinity_psu)))) < goal_mg_l


def test_practical_salinity_beside_teos10() -> None:
    """The reference library's own salinity from conductivity, fresh to sea water: within 1e-6."""
    from api.science.conductivity import practical_salinity

    conductivity_ms_cm, temperature_c = np.meshgrid(np.linspace(0.05, 60.0, 40), np.linspace(1.0, 35.0, 20))
    wanted = gsw.SP_from_C(conductivity_ms_cm, temperature_c, 0.0)
    good = (wanted > 0.01) & (wanted < 41.0)
    mine = practical_salinity(conductivity_ms_cm, temperature_c)
    assert float(np.max(np.abs(mine - wanted)[good])) < 1e-6


def test_agreement_is_up_to_date() -> None:
    """The file the numbers page reads is what the generator makes today (python -m tests.published.agree)."""
    kept = json.loads(agree.TARGET.read_text(encoding="utf-8"))
    made = agree.lines()
    assert [(one["group"], one["source"], one["rows"], one["unmet"]) for one in kept] == [
        (one["group"], one["source"], one["rows"], one["unmet"]) for one in made
    ]
    assert [one["largest"] for one in kept] == [pytest.approx(one["largest"], rel=0.02, abs=1e-8) for one in made]
    assert all(one.largest <= one.tolerance for one in agreements())


def test_every_formula_names_its_source() -> None:
    """Its references exist, its group has rows, and its docstring speaks of the source."""
    for one in FORMULAS:
        assert one.references
        assert set(one.references) <= set(BY_KEY)
        assert one.published == "" or one.published in GROUPS
        assert one.function.__doc__
    used = {key for one in FORMULAS for key in one.references}
    assert {"benson_krause_1984", "epa_2013_ammonia", "asce_2006"} <= used
    assert len({one.key for one in REFERENCES}) == len(REFERENCES)
