"""The oxygen balance dC/dt = k (C* - C) - R solved in closed form: where it stands still, and when it passes a limit.

Pure functions on plain floats and arrays. Must not do: fit, or know where its rates came from.
"""

from __future__ import annotations

from math import expm1, inf, log1p

import numpy as np

from api.science.exchange_fit import Array, check_range

RATE_RANGE_PER_H = (-100.0, 1000.0)
DEMAND_RANGE_MG_L_H = (-100.0, 1000.0)


def equilibrium_mg_l(saturation_mg_l: float, exchange_per_h: float, demand_mg_l_h: float) -> float:
    """Oxygen at which exchange with the air meets demand; minus infinity without exchange.

    Parameters
    ----------
    saturation_mg_l : float
        Oxygen in equilibrium with air, C*. [mg/L]
    exchange_per_h : float
        Exchange rate k, 0 or more. [1/h]
    demand_mg_l_h : float
        Oxygen demand R. [mg/L/h]

    Returns
    -------
    float
        C* - R / k; below zero where demand outruns all exchange. [mg/L]

    Raises
    ------
    OutOfRange
        For a rate below 0 or above 1000.

    References
    ----------
    bandyopadhyay_1967 : Bandyopadhyay, Humphrey & Taguchi 1967, Biotechnology and Bioengineering 9:533-544.
    """
    check_range("exchange rate", exchange_per_h, 0.0, RATE_RANGE_PER_H[1], "1/h")
    check_range("oxygen demand", demand_mg_l_h, *DEMAND_RANGE_MG_L_H, "mg/L/h")
    if exchange_per_h > 0.0:
        return saturation_mg_l - demand_mg_l_h / exchange_per_h
    return -inf if demand_mg_l_h > 0.0 else (inf if demand_mg_l_h < 0.0 else saturation_mg_l)


def oxygen_after_mg_l(
    hours: float, start_mg_l: float, saturation_mg_l: float, exchange_per_h: float, demand_mg_l_h: float
) -> float:
    """Oxygen some hours after a start.

    Parameters
    ----------
    hours : float
        Time since the start, 0 to 10000. [h]
    start_mg_l, saturation_mg_l : float
        Oxygen at the start, and in equilibrium with air. [mg/L]
    exchange_per_h : float
        Exchange rate k, 0 to 1000. [1/h]
    demand_mg_l_h : float
        Oxygen demand R. [mg/L/h]

    Returns
    -------
    float
        C0 + (k (C* - C0) - R) (1 - exp(-k t)) / k; below zero where the balance would have run out. [mg/L]

    Raises
    ------
    OutOfRange
        Outside the ranges above.

    References
    ----------
    bandyopadhyay_1967 : Bandyopadhyay, Humphrey & Taguchi 1967, Biotechnology and Bioengineering 9:533-544.
    """
    check_range("time", hours, 0.0, 10000.0, "h")
    check_range("exchange rate", exchange_per_h, 0.0, RATE_RANGE_PER_H[1], "1/h")
    pull = exchange_per_h * (saturation_mg_l - start_mg_l) - demand_mg_l_h
    weight = -expm1(-exchange_per_h * hours) / exchange_per_h if exchange_per_h > 0.0 else hours
    return start_mg_l + pull * weight


def hours_between(
    start_mg_l: float, limit_mg_l: float, saturation_mg_l: float, exchange_per_h: float, demand_mg_l_h: float
) -> float:
    """Time from one oxygen value to another; infinity when the balance never gets there, 0 when it is there.

    Parameters
    ----------
    start_mg_l, limit_mg_l, saturation_mg_l : float
        Oxygen at the start, the value to be reached, and oxygen in equilibrium with air. [mg/L]
    exchange_per_h : float
        Exchange rate k, 0 to 1000. [1/h]
    demand_mg_l_h : float
        Oxygen demand R. [mg/L/h]

    Returns
    -------
    float
        -ln((limit - Ceq) / (start - Ceq)) / k, or the straight line at k = 0. [h]

    Raises
    ------
    OutOfRange
        Outside the ranges above.

    References
    ----------
    bandyopadhyay_1967 : Bandyopadhyay, Humphrey & Taguchi 1967, Biotechnology and Bioengineering 9:533-544.
    """
    check_range("exchange rate", exchange_per_h, 0.0, RATE_RANGE_PER_H[1], "1/h")
    way = limit_mg_l - start_mg_l
    pull = exchange_per_h * (saturation_mg_l - start_mg_l) - demand_mg_l_h
    if way == 0.0:
        return 0.0
    if way * pull <= 0.0:
        return inf
    share = exchange_per_h * way / pull
    if share >= 1.0:
        return inf
    # The straight line is the limit of the logarithm; below this share it is the more exact of the two.
    return way / pull if share < 1e-12 else -log1p(-share) / exchange_per_h


def weight_h(exchange_per_h: float, hours: Array) -> tuple[Array, Array]:
    """(1 - exp(-k t)) / k and its derivative by k, even through k = 0. [h], [h2]"""
    product = np.clip(exchange_per_h * hours, -50.0, 700.0)
    small = np.abs(product) < 1e-4
    safe = np.where(small, 1.0, product)
    left = np.exp(-product)
    ratio = np.where(small, 1.0 - product / 2.0 + product**2 / 6.0, -np.expm1(-safe) / safe)
    bend = np.where(small, -0.5 + product / 3.0 - product**2 / 8.0, (left - ratio) / safe)
    return hours * ratio, hours**2 * bend
