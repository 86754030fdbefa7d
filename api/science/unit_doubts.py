"""Unit labels that are refused with a reason: they could mean several things, or they belong to another quantity.

A guess that is wrong by the factor of a gallon or of an ion is worse than a reading that waits. Must not do: list
labels that mean nothing at all (``units.py`` refuses those with the units that would do).
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from api.domain.quantity import Quantity as Q


@dataclass(frozen=True, slots=True)
class Doubt:
    """Why a label is refused, what to do, and the units to write instead (empty: another quantity)."""

    why: str
    todo: str
    choices: tuple[str, ...] = ()


def _either(meanings: str, *choices: str) -> Doubt:
    return Doubt(f"it could mean {meanings}", f"write {' or '.join(choices)}", choices)


def _other(quantity: Q, why: str) -> Doubt:
    return Doubt(why, f"send it as quantity {quantity}")


def _set(what: str, why: str, choice: str) -> Doubt:
    return Doubt(why, f"set the {what} to {choice}", (choice,))


_PERCENT = (
    "% /100 %sat %sat. sat% %saturation %ofsaturation %s %airsat %airsat. %airsaturation %ofairsaturation %do do%"
)
_PRESSURES = "pa hpa kpa mpa mbar bar atm torr mmhg mm[hg] inhg [in_i'hg] psi [psi]"
_WATER_COLUMNS = "cmh2o mmh2o inh2o cm[h2o] mm[h2o] [in_i'h2o]"
_PARTIAL = Doubt(
    "a pressure is oxygen's partial pressure, another quantity, which takes temperature and salinity to become mg/L",
    "set the meter to mg/L (quantity oxygen) or to % of air saturation (quantity oxygen_saturation)",
)
_SOLIDS = _set(
    "meter",
    "dissolved solids are computed from conductivity with a factor (0.5 to 0.7) that only the meter knows",
    "uS/cm",
)
_UNIONIZED = Doubt(
    "the un-ionized part is computed from total ammonia, pH and temperature", "send total ammonia", ("mg/L",)
)
_ALTITUDE = Doubt(
    "it is a height or an altitude, not a pressure", "give altitude_m in [room] of room.toml, or write kPa", ("kPa",)
)
_GAUGE = Doubt("it is a pressure above the air's, and the air's own is needed", "send the absolute pressure", ("kPa",))
_GRAINS = _either("grains or grams, in US (gpg) or imperial gallons (°e)", "gpg", "°e")
_DEGREES = _either("German, French or English degrees", "°dH", "°fH", "°e")
_FRENCH = _either("degrees Fahrenheit or French degrees", "°fH")

_ROWS: dict[Q, dict[str, Doubt]] = {
    Q.TEMPERATURE: {
        "° d degr": _either("degrees Celsius or Fahrenheit", "Cel", "[degF]"),
        "r °r": _either("degrees Rankine or Réaumur", "Cel", "[degF]", "K"),
    },
    Q.OXYGEN: {
        _PERCENT: _other(Q.OXYGEN_SATURATION, "percent is oxygen_saturation"),
        _PRESSURES: _PARTIAL,
    },
    Q.OXYGEN_SATURATION: {
        "mg/l ppm g/m3 ml/l umol/l mmol/m3 mmol/l": _other(Q.OXYGEN, "a concentration is oxygen"),
        _PRESSURES: _PARTIAL,
        "%o2 o2% %vol vol%": _either("percent of air saturation, or of the gas (of which air has 20.9)", "%"),
        "1 ratio fraction": _either("a share of 1 or of 100", "/", "%"),
    },
    Q.PH: {
        "mv": _set("meter", "it is the electrode's voltage, which takes the electrode's calibration", "pH"),
        "pht ph(t) phtotal phtotalscale ph(totalscale) phsws phf": Doubt(
            "it is a scale for sea water", "send pH on the NBS scale", ("pH",)
        ),
    },
    Q.CONDUCTIVITY: {
        "ppm ppb mg/l g/l tds ppmtds tdsppm mg/ltds ppm442 ppm500 ppm640 ppm700 ppmnacl": _SOLIDS,
        "psu pss ppt g/kg ‰ /1000": _set("meter", "it is salinity, another quantity", "uS/cm"),
        "ec ecunit ecunits": _either("milli- or microsiemens, by country", "mS/cm", "uS/cm"),
        "us ms s": _either("per centimetre or per metre", "uS/cm", "mS/cm", "mS/m", "S/m"),
    },
    Q.AMMONIA: {"uia mg/luia nh3 freenh3 mg/lfreenh3 mg/lun-ionized mg/lunionized": _UNIONIZED},
    Q.NITRITE: {"ppm ppb": _either("nitrogen or the whole ion, a factor of 3.28", "mg/L N", "mg/L NO2")},
    Q.NITRATE: {"ppm ppb": _either("nitrogen or the whole ion, a factor of 4.43", "mg/L N", "mg/L NO3")},
    Q.HARDNESS: {
        "dkh °dkh kh °kh": _other(Q.ALKALINITY, "carbonate hardness is alkalinity"),
        "gr gr/gal grain grain/gal g/gal": _GRAINS,
        "° °h d degr": _DEGREES,
    },
    Q.ALKALINITY: {
        "dgh °dgh gh °gh": _other(Q.HARDNESS, "general hardness is hardness"),
        "gr gr/gal grain grain/gal g/gal": _GRAINS,
        "° °h d degr": _DEGREES,
        "mmol/l mol/m3 mm umol/l mmol/m3 um": _either(
            "CaCO3 or HCO3, a factor of 2", "meq/L", "mmol/L HCO3", "mmol/L CaCO3"
        ),
    },
    Q.CALCIUM: {"dgh gh °gh °dh dh gpg °fh °e": _other(Q.HARDNESS, "degrees are of hardness")},
    Q.FLOW: {
        "gal/min galmin": _either("US or imperial gallons", "[gal_us]/min", "[gal_br]/min"),
        "gal/h galh": _either("US or imperial gallons", "[gal_us]/h", "[gal_br]/h"),
        "l/m lm ml/m": _either("minutes or metres", "L/min", "mL/min"),
        "cm/s m/s ft/s": Doubt("it is a speed, not a volume in a time", "send L/min", ("L/min",)),
    },
    Q.LEVEL: {
        "%": Doubt("it is a share of a height nobody told", "send cm above the tank floor", ("cm",)),
        f"{_PRESSURES} {_WATER_COLUMNS}": _set("probe", "it is a pressure, not a height", "cm"),
        "l ml gal": Doubt("it is a volume, not a height", "send cm above the tank floor", ("cm",)),
    },
    Q.PRESSURE: {
        "mpa": _either("megapascal or millipascal", "MPa", "Pa", "kPa"),
        'in in. "': _either("inches of mercury or of water", "inHg"),
        "mm": _either("millimetres of mercury or of water", "mmHg"),
        f"psig barg mbarg kpag psi(g) bar(g) {_WATER_COLUMNS}": _GAUGE,
        "m ft masl m.a.s.l.": _ALTITUDE,
    },
}
_BY_LABEL = {(q, label): one for q, rows in _ROWS.items() for labels, one in rows.items() for label in labels.split()}
_MEGA = re.compile(r"M(?:(S/c?m)|(bar|b)|(L/(?:min|h|s))|(m))", re.IGNORECASE)
_OTHER_REFERENCE = re.compile(r"/c?m[(,]?(?:@|at)\d", re.IGNORECASE)
_NAMED = re.compile(r"nitrate|nitrite|ammoni", re.IGNORECASE)
_CONCENTRATIONS = (Q.OXYGEN, Q.AMMONIA, Q.NITRITE, Q.NITRATE, Q.HARDNESS, Q.ALKALINITY, Q.CALCIUM)
_COMMON = {
    "ppt [ppth] [pptr]": _either("parts per thousand or parts per trillion", "g/L", "mg/L"),
    "% /100": Doubt("percent of what is not said", "write mg/L", ("mg/L",)),
    "gr grain": _either("grains or grams, in a volume nobody told", "mg/L", "g/L"),
}
_COMMON_BY_LABEL = {label: one for labels, one in _COMMON.items() for label in labels.split()}


def doubt(quantity: Q, text: str) -> Doubt | None:
    """Why a compact label is refused for a quantity; None when nothing is known against it."""
    if text.startswith("M"):
        against = _capital(quantity, text)
        if against:
            return against
    if text == "°F" and quantity in (Q.HARDNESS, Q.ALKALINITY):
        return _FRENCH
    if quantity is Q.CONDUCTIVITY and _OTHER_REFERENCE.search(text):
        why = "conductivity is kept as it is at 25 °C"
        return Doubt(why, "set the meter's reference temperature to 25 °C and write uS/cm", ("uS/cm",))
    return _BY_LABEL.get((quantity, text.casefold()))


def _capital(quantity: Q, text: str) -> Doubt | None:
    """A capital M where mega or molar would be another unit; plain capitals (MBAR, MM) say nothing about the M."""
    if text == "M" and (quantity is Q.LEVEL or quantity in _CONCENTRATIONS):
        return _either("mega, metre or moles in a litre", *(("m",) if quantity is Q.LEVEL else ("mmol/L", "umol/L")))
    mega = _MEGA.fullmatch(text)
    if mega is None or text in ("MBAR", "MB", "MM"):
        return None
    words = "a million (capital M is mega) or a thousandth"
    if mega[1]:
        rest = mega[1].casefold().replace("s", "S", 1)
        return _either(words, f"m{rest}", f"u{rest}")
    return _either(words, "mbar" if mega[2] else f"m{text[1].upper()}{text[2:].casefold()}" if mega[3] else "mm")


def common_doubt(quantity: Q, text: str) -> Doubt | None:
    """Doubts that hold for every concentration, for labels that mean nothing else."""
    if quantity not in _CONCENTRATIONS:
        return None
    if _NAMED.search(text):
        return Doubt(
            "it could mean nitrogen or the whole ion", "write mg/L (as N), or name the ion: mg/L NO3", ("mg/L",)
        )
    if text.casefold().endswith("/kg"):
        choices = ("mg/L", "umol/L")
        return Doubt("an amount in a kilogram takes the water's density", "write mg/L or umol/L", choices)
    return _COMMON_BY_LABEL.get(text.casefold())
