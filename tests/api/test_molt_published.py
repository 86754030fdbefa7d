"""The molt clock beside published figures: tests/published/molts.json, each row with its source and tolerance."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from itertools import pairwise
from math import exp
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from api.domain.animal import Animal, Sex
from api.domain.life import Clutch, Molt
from api.molt.breeding import clutch_outlook
from api.molt.hardening import hardening
from api.molt.increment import Grown, gain, hiatt_line, next_length
from api.molt.intervals import MATURE_FEMALE, MATURE_MALE
from api.molt.outlook import room_outlook
from api.molt.spans import WINTER_MONTHS, WINTER_RATE
from api.molt.species_table import SPECIES, UNKNOWN, figures_of
from api.science.references import BY_KEY
from tests.trials.molt_plain import DAY_MS, at, crayfish, steady

Row = dict[str, Any]
PATH = Path(__file__).parents[1] / "published" / "molts.json"
ROWS: list[Row] = json.loads(PATH.read_text(encoding="utf-8"))


def rows(group: str) -> list[Any]:
    """Rows of a group as test cases."""
    return [pytest.param(row, id=row["id"]) for row in ROWS if row["group"] == group]


def test_rows_have_sources() -> None:
    """Every row once, with a source we list and how it came about; every group has a test here."""
    assert len({row["id"] for row in ROWS}) == len(ROWS)
    assert all(row["source"] in BY_KEY and row["how_obtained"] for row in ROWS)
    text = Path(__file__).read_text(encoding="utf-8")
    assert all(f'"{row["group"]}"' in text for row in ROWS)


def test_every_figure_says_where_it_comes_from() -> None:
    """A source we list, or the words that there is none."""
    for species in (*SPECIES, UNKNOWN):
        for name, figure in species.figures:
            assert figure.source in BY_KEY or figure.source in ("judgement", "common practice, no source"), name


@pytest.mark.parametrize("row", rows("molt interval"))
def test_interval(row: Row) -> None:
    """What is expected before anything is learned, at the length and temperature of the table's stage."""
    given = row["inputs"]
    # carapace of juveniles: half the total length, as the table of species has it
    mm = given["total_length_mm"] / 2
    life = crayfish(1, [1.0], species=given["species"], mm=mm / 1.19, gain=0.19, arrived_d=1.0)
    room = room_outlook([life], {"A": steady(given["temperature_c"], 2.0)}, at(2.0))
    middle = room.outlooks[0].middle_ms
    assert middle is not None
    assert (middle - at(1.0)) / DAY_MS == pytest.approx(row["value"], abs=row["tolerance"])


@pytest.mark.parametrize("row", rows("molt gain"))
def test_gain(row: Row) -> None:
    """Mean percentage of length gained over the table's stages."""
    lengths = row["inputs"]["total_lengths_mm"]
    shares = [100.0 * gain(mm / 2)[0] for mm in lengths[:-1]]
    assert float(np.mean(shares)) == pytest.approx(row["value"], abs=row["tolerance"])
    printed = [100.0 * (b / a - 1.0) for a, b in pairwise(lengths)]
    assert float(np.mean(printed)) == pytest.approx(row["value"], abs=0.1)


@pytest.mark.parametrize("row", rows("hiatt line"))
def test_hiatt(row: Row) -> None:
    """The line through the table's ten means."""
    given = row["inputs"]
    line = hiatt_line([Grown(1, a, b) for a, b in zip(given["pre_mm"], given["post_mm"], strict=True)])
    assert [line.a_mm, line.b] == pytest.approx(row["value"], abs=row["tolerance"])


@pytest.mark.parametrize("row", rows("growth"))
def test_growth(row: Row) -> None:
    """Molt after molt at the expected interval and gain, from one length to the other's day."""
    given = row["inputs"]
    species = figures_of(given["species"])
    mm, day = float(given["carapace_mm"]), 0.0
    rate = min(given["temperature_c"], species.cap.value) - species.zero.value
    while True:
        step = species.typical_degree_days(mm) / rate
        if day + step > given["days"]:
            mm *= 1.0 + gain(mm)[0] * (given["days"] - day) / step
            break
        mm, day = next_length(mm, None).mm, day + step
    assert mm == pytest.approx(row["value"], abs=row["tolerance"])


@pytest.mark.parametrize("row", rows("molts a year"))
def test_molts_a_year(row: Row) -> None:
    """Degree-days of a year over the interval of a mature animal."""
    given = row["inputs"]
    species = figures_of(given["species"])
    days = np.arange(365.0)
    water = given["mean_c"] + given["amplitude_c"] * np.cos(2 * np.pi * (days - 200.0) / 365.0)
    rate = np.clip(water, species.zero.value, species.cap.value) - species.zero.value
    month = np.array([datetime.fromtimestamp(1_704_067_200 + int(day) * 86_400, UTC).month for day in days])
    begins, over = WINTER_MONTHS[True]
    if species.winter:
        rate = np.where((month >= begins) | (month < over), rate * WINTER_RATE, rate)
    year = float(rate.sum()) * (1.0 - given.get("berried_d", 0.0) / 365.0)
    more = MATURE_MALE if given["sex"] == "male" else MATURE_FEMALE
    assert year / species.typical_degree_days(given["carapace_mm"], more) == pytest.approx(
        row["value"], abs=row["tolerance"]
    )


@pytest.mark.parametrize("row", rows("hatching"))
def test_hatching(row: Row) -> None:
    """Expected hatching of eggs seen on the day they were laid, in water of one temperature."""
    given = row["inputs"]
    clutch = Clutch(at(0.0))
    found = clutch_outlook(figures_of(given["species"]), clutch, steady(given["temperature_c"], 1.0), at(1.0), at(0.0))
    assert found.hatch_ms is not None
    assert (found.hatch_ms - at(0.0)) / DAY_MS == pytest.approx(row["value"], abs=row["tolerance"])


@pytest.mark.parametrize("row", rows("hatching two steps"))
def test_hatching_in_two_steps(row: Row) -> None:
    """The rate adds up over water that changed."""
    species = figures_of(row["inputs"]["species"])
    done = sum(
        float(np.interp(temperature, *np.array(species.hatching).T)) * days
        for temperature, days in row["inputs"]["steps"]
    )
    assert row["value"] / done == pytest.approx(row["value"], abs=row["tolerance"])


@pytest.mark.parametrize("row", rows("hardening"))
def test_hardening(row: Row) -> None:
    """End of a stage in days after the molt, in water of the table's temperature."""
    found = hardening(Molt(at(0.0)), figures_of("Faxonius virilis"), 20.0)
    stage = next(one for one in found.stages if one.name == row["inputs"]["stage"])
    assert (stage.to_ms - at(0.0)) / DAY_MS == pytest.approx(row["value"], abs=row["tolerance"])


def test_sexes_are_told() -> None:
    """The stated effects of sex need it: an animal of unknown sex lies between the two."""
    water = {"A": steady(20.0, 3.0)}
    typical = []
    for sex in (Sex.MALE, Sex.UNKNOWN, Sex.FEMALE):
        life = crayfish(1, [1.0], mm=70.0, sex=sex, arrived_d=1.0)
        typical.append(room_outlook([life], water, at(1.5)).outlooks[0].typical_degree_days)
    assert typical == sorted(typical)
    assert typical[2] / typical[0] == pytest.approx(exp(MATURE_FEMALE - MATURE_MALE), rel=0.05)
    assert figures_of(Animal("a", " procambarus  CLARKII ").species).known
