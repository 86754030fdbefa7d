"""How much of the ammonia is the un-ionised, poisonous kind, and the EPA's criteria for fresh water.

Pure, on single numbers and arrays alike. Must not do: judge a tank by criteria meant for rivers without saying so.
"""

from __future__ import annotations

from typing import Any

from api.science.arrays import Num, Span, either, within
from api.science.molar_masses import N_G_MOL, NH3_G_MOL

PH = Span("pH", 0.0, 14.0, "pH")
TEMPERATURE = Span("temperature", 0.0, 30.0, "Cel")
PH_CRITERIA = Span("pH", 6.5, 9.0, "pH")
WARM = Span("temperature", 0.0, 40.0, "Cel")
AMMONIA = Span("ammonia", 0.0, 1000.0, "mg/L")
NH3_PER_N = NH3_G_MOL / N_G_MOL
"""Mass of NH3 over that of its nitrogen, 17.031 / 14.007. References: iupac_2021."""


def _pka(t_c: Any) -> Any:
    return 0.09018 + 2729.92 / (t_c + 273.15)


@within(WARM)
def ammonium_pka(temperature_c: Num) -> Num:
    """pKa of ammonium in fresh water at zero ionic strength. [1]

    ``temperature_c`` 0 to 40 [Cel]: its paper tabulates to 30; the measurements it was fitted to reach 50, and to 40 it
    stays within 0.004 of them. References: emerson_1975, bates_pinching_1949.
    """
    return either(lambda xp, t: _pka(t), (WARM,), temperature_c)  # type: ignore[no-any-return]


@within(PH, WARM)
def unionized_fraction(ph: Num, temperature_c: Num) -> Num:
    """Share of total ammonia that is NH3. [1]

    Parameters
    ----------
    ph : float or array
        0 to 14, NBS scale. [pH]
    temperature_c : float or array
        0 to 40, as for ``ammonium_pka``. [Cel]

    Returns
    -------
    float or array
        NH3 over NH3 + NH4, 0 to 1.

    Raises
    ------
    OutOfRange
        A single number outside the ranges above; arrays give NaN.

    References
    ----------
    emerson_1975, with T = t + 273.15 (the paper's 273.2 gives 0.4 % more); bates_pinching_1949
    """
    body = lambda xp, p, t: 1.0 / (1.0 + 10.0 ** (_pka(t) - p))  # noqa: E731 - one expression
    return either(body, (PH, WARM), ph, temperature_c)  # type: ignore[no-any-return]


@within(AMMONIA)
def nh3_from_n_mg_l(nitrogen_mg_l: Num) -> Num:
    """Ammonia as NH3 from ammonia as nitrogen. [mg/L]

    ``nitrogen_mg_l`` 0 to 1000 [mg/L]; OutOfRange outside, NaN in arrays. References: iupac_2021.
    """
    return either(lambda xp, c: c * NH3_PER_N, (AMMONIA,), nitrogen_mg_l)  # type: ignore[no-any-return]


@within(AMMONIA)
def n_from_nh3_mg_l(ammonia_mg_l: Num) -> Num:
    """Ammonia as nitrogen from ammonia as NH3. [mg/L]

    ``ammonia_mg_l`` 0 to 1000 [mg/L]; OutOfRange outside, NaN in arrays. References: iupac_2021.
    """
    return either(lambda xp, c: c / NH3_PER_N, (AMMONIA,), ammonia_mg_l)  # type: ignore[no-any-return]


def _sensitive(ph: Any, pivot: float, low: float, high: float) -> Any:
    """How a criterion bends with pH."""
    return low / (1.0 + 10.0 ** (pivot - ph)) + high / (1.0 + 10.0 ** (ph - pivot))


def _least(xp: Any, first: Any, second: Any) -> Any:
    return xp.minimum(first, second) if hasattr(xp, "minimum") else min(first, second)


def _most(xp: Any, first: Any, second: Any) -> Any:
    return xp.maximum(first, second) if hasattr(xp, "maximum") else max(first, second)


def _acute(xp: Any, ph: Any, t_c: Any) -> Any:
    mussels = _least(xp, 51.93, 23.12 * 10.0 ** (0.036 * (20.0 - t_c)))
    return 0.7249 * _sensitive(ph, 7.204, 0.0114, 1.6181) * mussels


def _acute_salmonids(xp: Any, ph: Any, t_c: Any) -> Any:
    fish = _sensitive(ph, 7.204, 0.275, 39.0)
    return _least(xp, fish, 0.7249 * _sensitive(ph, 7.204, 0.0114, 1.6181) * 23.12 * 10.0 ** (0.036 * (20.0 - t_c)))


def _chronic(xp: Any, ph: Any, t_c: Any) -> Any:
    return 0.8876 * _sensitive(ph, 7.688, 0.0278, 1.1994) * 2.126 * 10.0 ** (0.028 * (20.0 - _most(xp, t_c, 7.0)))


@within(PH_CRITERIA, TEMPERATURE)
def acute_criterion_mg_l(ph: Num, temperature_c: Num, *, salmonids: bool = False) -> Num:
    """Total ammonia that fresh water may hold for one hour. [mg/L as N]

    Parameters
    ----------
    ph : float or array
        6.5 to 9.0. [pH]
    temperature_c : float or array
        0 to 30. [Cel]
    salmonids : bool
        Whether trout and salmon (Oncorhynchus) live there.

    Returns
    -------
    float or array
        Criterion maximum concentration, not rounded (the EPA prints two significant figures).

    Raises
    ------
    OutOfRange
        A single number outside the ranges above; arrays give NaN.

    References
    ----------
    epa_2013_ammonia
    """
    body = _acute_salmonids if salmonids else _acute
    return either(body, (PH_CRITERIA, TEMPERATURE), ph, temperature_c)  # type: ignore[no-any-return]


@within(PH_CRITERIA, TEMPERATURE)
def chronic_criterion_mg_l(ph: Num, temperature_c: Num) -> Num:
    """Total ammonia that fresh water may hold on average over 30 days. [mg/L as N]

    ``ph`` 6.5 to 9.0 [pH], ``temperature_c`` 0 to 30 [Cel]; the highest four-day mean may be 2.5 times as much.
    Not rounded; OutOfRange outside, NaN in arrays. References: epa_2013_ammonia.
    """
    return either(_chronic, (PH_CRITERIA, TEMPERATURE), ph, temperature_c)  # type: ignore[no-any-return]
