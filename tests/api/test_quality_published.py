"""Our tests beside the check rows of tests/published/qartod_cases.json; each row names its source.

Where our flags differ from a row on purpose, the place, our flag and the reason stand in ``DIFFERS``; rows of tests we
do not have stand in ``NOT_OURS``. A row that is in neither must agree flag for flag.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from api.domain.checks import CheckLimits
from api.domain.quantity import Quantity
from api.domain.reading import Flag
from api.judge.check_batch import check
from api.judge.check_words import Findings

ROWS: list[dict[str, Any]] = json.loads(
    (Path(__file__).parents[1] / "published" / "qartod_cases.json").read_text(encoding="utf-8")
)
START_MS = 1_700_000_000_000
FOREVER_S = 1e9

NO_TEST = "a first reading has nothing to be compared with: not evaluated, where the library says good"
MISSING_BETWEEN = "a value that is missing is left out, so its neighbours are each other's"
GAP = "the reading after a gap is no worse for it: not evaluated; the silence itself is an alert of its own"
WORST = "not evaluated and missing are worse than good: what could not be checked never turns into good"
DIFFERS: dict[str, dict[int, tuple[int, str]]] = {
    "qc_spike_temp_average": {6: (1, MISSING_BETWEEN), 8: (1, MISSING_BETWEEN)},
    "qc_roc_temp": {0: (2, NO_TEST)},
    "qc_roc_temp_fail": {0: (2, NO_TEST)},
    "qc_flat_temp": {0: (2, NO_TEST)},
    "qc_flat_tol0": {
        0: (2, NO_TEST),
        **{place: (flag, "tolerance 0 means exactly the same; the library's can never be met")
           for place, flag in ((5, 3), (6, 3), (7, 3), (8, 4), (9, 4))},
    },
    "qc_gap_1h": {0: (2, NO_TEST), 3: (2, GAP), 5: (2, GAP)},
    "qc_agg": {2: (2, WORST), 3: (9, WORST), 6: (2, WORST)},
}  # fmt: skip
NOT_OURS = {
    "qc_spike_temp_differential": "the other of the library's two methods; the manual's is the average",
    "qc_att_all_std": "standard deviation of a whole series; ours is the range over a window, which a stream can keep",
    "qc_clim_temp": "what season's water should be is a care range, not a check of the probe",
    "qc_recep_2h": "silence is told by the watch over quiet probes while it lasts",
    "qc_syntax_char": "a line that cannot be read is refused by the codec that reads it",
}


def found(test: str, values: list[float | None], step_s: float, **limits: float) -> list[int]:
    """Flags of one test of ours."""
    given = CheckLimits(**limits, gap_s=FOREVER_S)  # type: ignore[arg-type]
    times_ms = START_MS + np.arange(len(values), dtype=np.int64) * round(step_s * 1000)
    array = np.array([np.nan if value is None else value for value in values], dtype=np.float64)
    return check(times_ms, array, given, Quantity.TEMPERATURE).tests[test].tolist()  # type: ignore[no-any-return]


def gross(given: dict[str, Any]) -> list[int]:
    """QARTOD test 4."""
    (fail_low, fail_high), (low, high) = given["fail_span"], given["suspect_span"]
    limits = {"fail_low": fail_low, "fail_high": fail_high, "suspect_low": low, "suspect_high": high}
    return found("gross", given["inp"], 600, **limits)


def spike(given: dict[str, Any]) -> list[int]:
    """QARTOD test 6."""
    limits = {"spike_suspect": given["suspect_threshold"], "spike_fail": given["fail_threshold"]}
    return found("spike", given["inp"], 600, **limits)


def rate(given: dict[str, Any]) -> list[int]:
    """QARTOD test 7."""
    limits = {"rate_suspect_per_h": given["threshold_per_s"] * 3600}
    if "fail_threshold_per_s" in given:
        limits["rate_fail_per_h"] = given["fail_threshold_per_s"] * 3600
    return found("rate", given["inp"], given["step_s"], **limits)


def flat(given: dict[str, Any]) -> list[int]:
    """QARTOD test 8."""
    limits = {"flat_suspect_s": given["suspect_threshold_s"], "flat_fail_s": given["fail_threshold_s"]}
    return found("flat", given["inp"], given["step_s"], **limits, flat_tolerance=given["tolerance"])


def attenuated(given: dict[str, Any]) -> list[int]:
    """QARTOD test 10."""
    limits = {"attenuated_suspect": given["suspect_threshold"], "attenuated_fail": given["fail_threshold"]}
    limits |= {"attenuated_window_s": given["test_period_s"], "attenuated_least": given["min_obs"]}
    return found("attenuated", given["inp"], given["step_s"], **limits)


def gap(given: dict[str, Any]) -> list[int]:
    """QARTOD test 1, as the library puts it on a series."""
    times_ms = [round(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp() * 1000) for text in given["time"]]
    limits = CheckLimits(gap_s=given["fail_span_h"] * 3600)
    checked = check(np.array(times_ms), np.full(len(times_ms), 25.0), limits, Quantity.TEMPERATURE)
    return checked.tests["gap"].tolist()  # type: ignore[no-any-return]


def together(given: dict[str, Any]) -> list[int]:
    """Flags of two tests of one reading, together."""
    pairs = zip(*given["vectors"], strict=True)
    return [Findings(0, None if 9 in pair else 25.0, base=max(pair), gross=min(pair)).flag for pair in pairs]


OURS: dict[str, Callable[[dict[str, Any]], list[int]]] = {
    "ioos_qc.qartod.gross_range_test": gross,
    "ioos_qc.qartod.spike_test": spike,
    "ioos_qc.qartod.rate_of_change_test": rate,
    "ioos_qc.qartod.flat_line_test": flat,
    "ioos_qc.qartod.attenuated_signal_test": attenuated,
    "ioos_qc.qartod.time_gap_test": gap,
    "ioos_qc.qartod.qartod_compare": together,
}
SERIES = [row for row in ROWS if row["quantity"] in OURS and row["id"] not in NOT_OURS]
CODES = [row for row in ROWS if row["quantity"] == "QARTOD/IODE flag meaning"]
MEANINGS = {"Pass/Good": Flag.GOOD, "Suspect or of high interest": Flag.SUSPECT, "Missing data": Flag.MISSING}


@pytest.mark.parametrize("row", SERIES, ids=[row["id"] for row in SERIES])
def test_published_row(row: dict[str, Any]) -> None:
    """Flag for flag, but for the named differences, which must be there."""
    differs = DIFFERS.get(row["id"], {})
    expected = [differs[place][0] if place in differs else flag for place, flag in enumerate(row["value"])]
    assert OURS[row["quantity"]](row["inputs"]) == expected
    assert all(row["value"][place] != flag for place, (flag, _) in differs.items())


@pytest.mark.parametrize("row", CODES, ids=[row["id"] for row in CODES])
def test_flag_numbers(row: dict[str, Any]) -> None:
    """The numbers of UNESCO 2013 and QARTOD."""
    assert MEANINGS[row["inputs"]["meaning"]] == row["value"]


def test_every_row_is_spoken_for() -> None:
    """Wired, or named with the reason why not."""
    wired = {row["id"] for row in (*SERIES, *CODES)}
    assert wired.isdisjoint(NOT_OURS)
    assert wired | set(NOT_OURS) == {row["id"] for row in ROWS}
    assert set(DIFFERS) <= wired
