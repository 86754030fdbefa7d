"""What an invented colony is really like: pace, spread, law, size, warmth, maturity, winter, off the clock's figures.

Must not do: use anything of the clock but the table of species, which stands for the literature.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from api.domain.animal import Sex
from api.molt.species import Species
from api.molt.species_table import figures_of

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


def rate_of(truth: Truth, temperature_c: Floats) -> Floats:
    """How fast the true clock runs, 1 at 20 Cel: a line from another zero, or a curve of Q10 2.3 instead of one."""

    def raw(at: Floats) -> Floats:
        if truth.bent:
            return np.where(at < truth.zero_c + 1.0, 0.0, 2.3 ** ((np.minimum(at, truth.cap_c) - 20.0) / 10.0))
        return np.clip(at, truth.zero_c, truth.cap_c) - truth.zero_c

    out: Floats = raw(temperature_c) / raw(np.array([20.0]))
    return out


def typical_d(truth: Truth, length_mm: float, sex: Sex, own: float) -> float:
    """The typical interval at 20 Cel. [d]"""
    species = truth.species
    known = species.pace.value - np.log(min(20.0, species.cap.value) - species.zero.value)
    ln_d = known + truth.pace + own + 0.8 * np.log(10.0) + truth.size * np.log(length_mm / 10.0)
    if length_mm > truth.mature_mm:
        ln_d += truth.mature_male if sex is Sex.MALE else truth.mature_female
    return float(np.exp(ln_d))


def noise_of(truth: Truth, mature: bool, rng: np.random.Generator) -> float:
    """One interval beside the typical one."""
    sd = truth.noise * (1.6 if mature else 1.0)
    if truth.law == "gamma":
        return float(rng.gamma(1.0 / sd**2, sd**2))
    if truth.law == "weibull":
        return float(rng.weibull(1.2 / sd) * 1.06)
    return float(np.exp(rng.normal(0.0, sd)))
