"""Invented colonies of crayfish whose truth the molt clock does not know: their lives hour by hour, and their records.

Must not do: use anything of the clock.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from api.domain.animal import Sex
from api.molt.warmth import Warmth
from tests.trials.molt_notes import DAY_MS, START_MS
from tests.trials.molt_record import Crayfish, written
from tests.trials.molt_truth import Floats, Truth, noise_of, rate_of, truth_of, typical_d
from tests.trials.molt_water import recorded, temperatures


@dataclass(frozen=True, slots=True)
class Colony:
    """Animals, their tanks' recorded temperature, and how many days it was watched."""

    truth: Truth
    animals: tuple[Crayfish, ...]
    water: dict[str, Warmth]
    watched_d: float


def colony_of(rng: np.random.Generator, count: int, watched_d: float, after_d: float, tanks: int = 0) -> Colony:
    """A colony watched for some days; its animals live on for others, so that every next molt is known."""
    truth = truth_of(rng)
    before_d, hours = 400, 24 * (400 + round(watched_d + after_d))
    names = [f"t{number}" for number in range(tanks or max(2, count // 4))]
    warmth = {tank: temperatures(truth, hours, rng) for tank in names}
    animals = tuple(
        _crayfish(truth, number, str(rng.choice(names)), warmth, before_d, watched_d, rng) for number in range(count)
    )
    water = {tank: recorded(values[24 * before_d :], rng) for tank, values in warmth.items()}
    return Colony(truth, animals, water, watched_d)


def _crayfish(
    truth: Truth, number: int, tank: str, warmth: dict[str, Floats], before_d: int, watched_d: float,
    rng: np.random.Generator,
) -> Crayfish:  # fmt: skip
    """Its life from long before it arrived, hour by hour on the true clock."""
    sex = Sex.FEMALE if truth.name == "Procambarus virginalis" or rng.random() < 0.5 else Sex.MALE
    own = float(rng.normal(0.0, truth.between))
    arrived_d = 0.0 if rng.random() < 0.6 else float(rng.uniform(0.0, 0.7 * watched_d))
    rate = rate_of(truth, warmth[tank])
    at_d = np.arange(rate.size) / 24.0 - before_d
    month = ((START_MS / DAY_MS + at_d) / 30.4375 % 12).astype(int) + 1
    slowed = np.where(truth.species.winter & ((month >= 11) | (month <= 2)), truth.winter, 1.0)
    hold = _hold(truth, sex, watched_d, rng)
    # the length it will have when it arrives: it begins its last interval before that somewhere within it
    length = float(np.exp(rng.uniform(np.log(6.0), np.log(1.5 * truth.mature_mm))))
    molts, lengths = _molts(truth, sex, own, length, arrived_d, at_d, rate, slowed, hold, rng)
    return written(truth, number, tank, sex, arrived_d, molts, lengths, hold, watched_d, rng)


def _hold(truth: Truth, sex: Sex, watched_d: float, rng: np.random.Generator) -> tuple[float, float] | None:
    """A brood of some females."""
    if sex is not Sex.FEMALE or rng.random() < 0.85:
        return None
    start = float(rng.uniform(0.0, watched_d))
    return start, start + float(rng.uniform(20.0, 50.0))


def _molts(
    truth: Truth, sex: Sex, own: float, length: float, arrived_d: float, at_d: Floats, rate: Floats, slowed: Floats,
    hold: tuple[float, float] | None, rng: np.random.Generator,
) -> tuple[Floats, Floats]:  # fmt: skip
    """Days of its molts since it arrived, and its length on arrival and after each."""
    mature = length > truth.mature_mm
    if mature and hold is not None:
        rate = np.where((at_d >= hold[0]) & (at_d < hold[1]), 0.0, rate)
    run = np.concatenate(([0.0], np.cumsum(rate * (slowed if mature else 1.0)) / 24.0))
    edges = np.append(at_d, at_d[-1] + 1 / 24.0)
    interval = typical_d(truth, length, sex, own) * noise_of(truth, mature, rng)
    # length-biased: an arrival is met in a long interval more often than in a short one
    while rng.random() > interval / (3.0 * typical_d(truth, length, sex, own)):
        interval = typical_d(truth, length, sex, own) * noise_of(truth, mature, rng)
    done = float(np.interp(arrived_d, edges, run)) + interval * float(rng.random())
    molts, lengths = [], [length]
    while done < run[-1]:
        molts.append(float(np.interp(done, run, edges)))
        share = np.interp(length, [10.0, 22.0, 37.0, 55.0], [0.19, 0.15, 0.10, 0.06]) + truth.gain_more
        length *= 1.0 + float(rng.normal(share, 0.04))
        lengths.append(length)
        if not mature and length > truth.mature_mm:
            mature = True
            here = float(np.interp(molts[-1], edges, run))
            later = np.where((at_d >= hold[0]) & (at_d < hold[1]), 0.0, rate) if hold is not None else rate
            run = np.concatenate(([0.0], np.cumsum(later * slowed) / 24.0))
            done = done - here + float(np.interp(molts[-1], edges, run))
        done += typical_d(truth, length, sex, own) * noise_of(truth, mature, rng)
    return np.array(molts), np.array(lengths)
