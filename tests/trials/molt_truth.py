"""Invented colonies of crayfish whose truth the molt clock does not know, and what their keeper wrote down of it.

Pace, spread, law, size, warmth, maturity and winter are all drawn off the clock's own figures; keepers look every few
days, miss molts, measure some animals, and their probes fail. Must not do: use anything of the clock but the table of
species, which stands for the literature.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from api.domain.animal import Animal, Sex
from api.domain.husbandry import EventKind, Husbandry, PremoltSign
from api.domain.life import Life, life_of
from api.molt.species import Species
from api.molt.species_table import figures_of
from api.molt.warmth import Warmth
from tests.trials.molt_notes import DAY_MS, START_MS, measured, ms, sign, signs

HOUR_MS = 3_600_000
KINDS = (
    "Pacifastacus leniusculus",
    "Procambarus clarkii",
    "Procambarus virginalis",
    "Faxonius virilis",
    "Orconectes sp.",
)
Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Truth:
    """What one colony is really like."""

    species: Species
    name: str
    pace: float
    between: float
    noise: float
    law: str
    size: float
    zero_c: float
    cap_c: float
    bent: bool
    mature_male: float
    mature_female: float
    mature_mm: float
    winter: float
    missed: float
    look_d: float
    gain_more: float


@dataclass(slots=True)
class Crayfish:
    """One animal: when it really molted (days from the start), and what its keeper wrote down."""

    animal: Animal
    number: int
    tank: str
    arrived_d: float
    molts_d: Floats
    lengths_mm: Floats
    seen: NDArray[np.bool_]
    looks_d: Floats
    events: list[Husbandry]

    def life(self, now_ms: int) -> Life:
        """What is written down by a time."""
        return life_of(self.number, self.animal, [one for one in self.events if one.time_ms <= now_ms])

    def looked_ms(self, now_ms: int) -> int:
        """The last look before a time."""
        looks = self.looks_d[self.looks_d <= (now_ms - START_MS) / DAY_MS]
        return START_MS + round(float(looks[-1]) * DAY_MS) if looks.size else now_ms


@dataclass(frozen=True, slots=True)
class Colony:
    """Animals, their tanks' recorded temperature, and how many days it was watched."""

    truth: Truth
    animals: tuple[Crayfish, ...]
    water: dict[str, Warmth]
    watched_d: float


def truth_of(rng: np.random.Generator) -> Truth:
    """A truth off the table: paces up to twofold off, spreads from tight to wide."""
    name = str(rng.choice(KINDS))
    species = figures_of(name)
    zero_c = species.zero.value + rng.uniform(-2.5, 2.5)
    return Truth(
        species=species,
        name=name,
        pace=float(rng.normal(0.0, 0.35)),
        between=float(rng.uniform(0.1, 0.4)),
        noise=float(np.exp(rng.uniform(np.log(0.08), np.log(0.28)))),
        law=str(rng.choice(["log-normal", "gamma", "weibull"])),
        size=float(rng.normal(0.8, 0.12)),
        zero_c=float(zero_c),
        cap_c=species.cap.value + float(rng.uniform(-2.0, 2.0)),
        bent=bool(rng.random() < 0.3),
        mature_male=float(max(0.0, rng.normal(0.7, 0.35))),
        mature_female=float(max(0.2, rng.normal(1.2, 0.35))),
        mature_mm=float(rng.normal(species.mature.value, species.mature.sd)),
        winter=float(rng.uniform(0.15, 0.7)),
        missed=float(rng.uniform(0.0, 0.12)),
        look_d=float(rng.choice([1.0, 2.0, 3.0, 4.0])),
        gain_more=float(rng.normal(0.0, 0.02)),
    )


def _rate(truth: Truth, temperature_c: Floats) -> Floats:
    """How fast the true clock runs, 1 at 20 Cel: a line from another zero, or a curve of Q10 2.3 instead of one."""

    def raw(at: Floats) -> Floats:
        if truth.bent:
            return np.where(at < truth.zero_c + 1.0, 0.0, 2.3 ** ((np.minimum(at, truth.cap_c) - 20.0) / 10.0))
        return np.clip(at, truth.zero_c, truth.cap_c) - truth.zero_c

    out: Floats = raw(temperature_c) / raw(np.array([20.0]))
    return out


def _typical_d(truth: Truth, length_mm: float, sex: Sex, own: float) -> float:
    """The typical interval at 20 Cel. [d]"""
    species = truth.species
    known = species.pace.value - np.log(min(20.0, species.cap.value) - species.zero.value)
    ln_d = known + truth.pace + own + 0.8 * np.log(10.0) + truth.size * np.log(length_mm / 10.0)
    if length_mm > truth.mature_mm:
        ln_d += truth.mature_male if sex is Sex.MALE else truth.mature_female
    return float(np.exp(ln_d))


def _noise(truth: Truth, mature: bool, rng: np.random.Generator) -> float:
    """One interval beside the typical one."""
    sd = truth.noise * (1.6 if mature else 1.0)
    if truth.law == "gamma":
        return float(rng.gamma(1.0 / sd**2, sd**2))
    if truth.law == "weibull":
        return float(rng.weibull(1.2 / sd) * 1.06)
    return float(np.exp(rng.normal(0.0, sd)))


def _temperatures(truth: Truth, hours: int, rng: np.random.Generator) -> Floats:
    """A tank hour by hour: heated or not, with days, seasons and weather."""
    at_d = np.arange(hours) / 24.0
    unheated = rng.random() < 0.4
    season = (3.5 if unheated else 0.7) * np.cos(2 * np.pi * (at_d - 200.0) / 365.0)
    steps = rng.normal(0.0, 0.05, hours)
    weather = np.array(_walk(steps, 0.995))
    level = truth.species.usual_c + rng.normal(0.0, 1.5)
    out: Floats = level + season + 0.4 * np.cos(2 * np.pi * (at_d - 0.65)) + weather
    return out


def _walk(steps: Floats, kept: float) -> Floats:
    from scipy.signal import lfilter

    out: Floats = lfilter([1.0], [1.0, -kept], steps)
    return out


def colony_of(rng: np.random.Generator, count: int, watched_d: float, after_d: float, tanks: int = 0) -> Colony:
    """A colony watched for some days; its animals live on for others, so that every next molt is known."""
    truth = truth_of(rng)
    before_d, hours = 400, 24 * (400 + round(watched_d + after_d))
    names = [f"t{number}" for number in range(tanks or max(2, count // 4))]
    warmth = {tank: _temperatures(truth, hours, rng) for tank in names}
    animals = tuple(
        _crayfish(truth, number, str(rng.choice(names)), warmth, before_d, watched_d, rng) for number in range(count)
    )
    water = {tank: _recorded(values[24 * before_d :], rng) for tank, values in warmth.items()}
    return Colony(truth, animals, water, watched_d)


def _recorded(values: Floats, rng: np.random.Generator) -> Warmth:
    """Means of the hours as a probe kept them: noise, an offset, and gaps from hours to weeks."""
    start_ms = START_MS + np.arange(values.size, dtype=np.int64) * HOUR_MS
    kept = np.ones(values.size, bool)
    for _ in range(rng.poisson(values.size / 24 / 60)):
        at = int(rng.integers(values.size))
        kept[at : at + int(24 * np.exp(rng.normal(0.0, 1.5)))] = False
    seen = values + rng.normal(0.0, 0.2) + rng.normal(0.0, 0.1, values.size)
    return Warmth.of_hours(start_ms[kept], seen[kept])


def _crayfish(
    truth: Truth, number: int, tank: str, warmth: dict[str, Floats], before_d: int, watched_d: float,
    rng: np.random.Generator,
) -> Crayfish:  # fmt: skip
    """Its life from long before it arrived, hour by hour on the true clock."""
    sex = Sex.FEMALE if truth.name == "Procambarus virginalis" or rng.random() < 0.5 else Sex.MALE
    own = float(rng.normal(0.0, truth.between))
    arrived_d = 0.0 if rng.random() < 0.6 else float(rng.uniform(0.0, 0.7 * watched_d))
    rate = _rate(truth, warmth[tank])
    at_d = np.arange(rate.size) / 24.0 - before_d
    month = ((START_MS / DAY_MS + at_d) / 30.4375 % 12).astype(int) + 1
    slowed = np.where(truth.species.winter & ((month >= 11) | (month <= 2)), truth.winter, 1.0)
    hold = _hold(truth, sex, watched_d, rng)
    # the length it will have when it arrives: it begins its last interval before that somewhere within it
    length = float(np.exp(rng.uniform(np.log(6.0), np.log(1.5 * truth.mature_mm))))
    molts, lengths = _molts(truth, sex, own, length, arrived_d, at_d, rate, slowed, hold, rng)
    return _written(truth, number, tank, sex, arrived_d, molts, lengths, hold, watched_d, rng)


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
    interval = _typical_d(truth, length, sex, own) * _noise(truth, mature, rng)
    # length-biased: an arrival is met in a long interval more often than in a short one
    while rng.random() > interval / (3.0 * _typical_d(truth, length, sex, own)):
        interval = _typical_d(truth, length, sex, own) * _noise(truth, mature, rng)
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
        done += _typical_d(truth, length, sex, own) * _noise(truth, mature, rng)
    return np.array(molts), np.array(lengths)


def _written(
    truth: Truth, number: int, tank: str, sex: Sex, arrived_d: float, molts: Floats, lengths: Floats,
    hold: tuple[float, float] | None, watched_d: float, rng: np.random.Generator,
) -> Crayfish:  # fmt: skip
    """What the keeper wrote: molts found at the next look or never, lengths of some animals, signs of some."""
    name = truth.name
    told = sex if rng.random() < 0.6 else Sex.UNKNOWN
    looks = arrived_d + np.cumsum(rng.uniform(0.7, 1.3, round(2000 / truth.look_d)) * truth.look_d)
    seen = rng.random(molts.size) >= truth.missed
    measures, watches = rng.random() > 0.05, rng.random() < 0.3
    events = [Husbandry(EventKind.MOVED, ms(arrived_d), tank=tank, animal=number)]
    if measures:
        events.append(measured(number, arrived_d + 0.01, lengths[0], rng))
    for at, (molt, found) in enumerate(zip(molts, seen, strict=True)):
        if molt > watched_d + 1:
            break
        place = int(np.searchsorted(looks, molt))
        look, before = float(looks[place]), float(looks[place - 1]) if place else arrived_d
        if found:
            events.append(Husbandry(EventKind.EXUVIA, ms(look), tank=tank, animal=number, since_ms=ms(before)))
            if measures and rng.random() < 0.6:
                events.append(measured(number, look + 1.5, lengths[at + 1], rng))
        if watches:
            events += signs(number, molt, rng)
    if watches:
        for day in rng.uniform(arrived_d, watched_d, rng.poisson((watched_d - arrived_d) * 0.004)):
            events.append(sign(number, float(day), PremoltSign.STOPPED_FEEDING))
    if hold is not None and lengths[np.searchsorted(molts, hold[0])] > truth.mature_mm and hold[0] > arrived_d:
        events.append(Husbandry(EventKind.EGGS_SEEN, ms(hold[0] + 1), animal=number))
        events.append(Husbandry(EventKind.HATCHED, ms(hold[0] + 0.8 * (hold[1] - hold[0])), animal=number))
        events.append(Husbandry(EventKind.YOUNG_OFF, ms(hold[1]), animal=number))
    events.sort(key=lambda one: one.time_ms)
    animal = Animal(f"a{number}", name, told)
    return Crayfish(animal, number, tank, arrived_d, molts, lengths, seen, looks, events)
