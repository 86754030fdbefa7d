"""What people type for each unit: compact labels (``unit_labels.compact``) in lower case, by the code they mean.

Only labels with one meaning for that quantity; the others stand in ``unit_doubts.py``. Must not do: hold factors.
"""

from __future__ import annotations

from api.domain.quantity import Quantity as Q

_DEGREES = {
    "°dH": "°dh dh °d german° °german",
    "°fH": "°fh fh °f french° °french",
    "°e": "°e °eh °clark clark clark° english° °english grain/impgal grain/gal(imp) grain/gal(uk)",
    "gpg": "gpg grain/usgal grain/gal(us)",
}
_SPELLED: dict[Q, dict[str, str]] = {
    Q.TEMPERATURE: {"Cel": "cel c °c", "[degF]": "f °f", "K": "k °k"},
    Q.OXYGEN: {"mL/L": "ml/l mlo2/l ml/lo2 ml(stp)/l mlstp/l ml/lstp ml/l(stp)"},
    Q.OXYGEN_SATURATION: {
        "%": "% /100 %sat %sat. sat% %saturation %ofsaturation %s %as %a.s. %airsat %airsat. %airsaturation"
        " %ofairsaturation %do do%",
    },
    Q.PH: {"pH": "ph [ph] phunit phunits su s.u. stdunits standardunits phnbs ph(nbs) 1 - unitless"},
    Q.HARDNESS: _DEGREES | {"°dH": f"{_DEGREES['°dH']} dgh °dgh gh °gh"},
    Q.ALKALINITY: _DEGREES | {"°dH": f"{_DEGREES['°dH']} dkh °dkh kh °kh"},
    Q.FLOW: {
        "L/min": "lpm dm3/min",
        "L/h": "lph dm3/h",
        "L/s": "lps",
        "mL/min": "mlpm ccm cc/min cm3/min",
        "m3/h": "cbm/h",
        "[gal_us]/min": "gpm usgpm usgal/min gal(us)/min",
        "[gal_us]/h": "gph usgph usgal/h gal(us)/h",
        "[gal_br]/min": "igpm impgpm ukgpm impgal/min imperialgal/min ukgal/min gal(uk)/min gal(imp)/min",
        "[gal_br]/h": "igph impgph ukgph impgal/h imperialgal/h ukgal/h gal(uk)/h gal(imp)/h",
    },
    Q.LEVEL: {"[in_i]": 'in in. "', "[ft_i]": "ft ft. '"},
    Q.PRESSURE: {
        "kPa": "kpaa",
        "mbar": "mb mbara",
        "bar": "bara",
        "mm[Hg]": "mmhg",
        "[in_i'Hg]": 'inhg in.hg "hg',
        "[psi]": "psi psia",
    },
}
ALIASES: dict[Q, dict[str, str]] = {
    quantity: {label: code for code, labels in rows.items() for label in labels.split()}
    for quantity, rows in _SPELLED.items()
}
"""By quantity: compact label in lower case to code. "gpm", "gph" and "gpg" are US trade words, so US gallons."""

_AMOUNTS = {
    "mg/L": "mg/l g/m3 ug/ml mg/dm3 ppm",
    "ug/L": "ug/l mg/m3 ug/dm3 ppb",
    "g/L": "g/l kg/m3 mg/ml g/dm3",
    "mmol/L": "mmol/l mol/m3 mmol/dm3 umol/ml",
    "umol/L": "umol/l mmol/m3 umol/dm3 nmol/ml",
    "nmol/L": "nmol/l umol/m3 nmol/dm3",
    "meq/L": "meq/l eq/m3 meq/dm3",
    "ueq/L": "ueq/l ueq/dm3 meq/m3",
}
AMOUNTS = {label: code for code, labels in _AMOUNTS.items() for label in labels.split()}
"""Amounts per volume in lower case. In water as fresh as a tank's, a part per million is a milligram in a litre."""

_AS_N = {"": "", "n": ""}
FORMS: dict[Q, dict[str, str]] = {
    Q.OXYGEN: {"": "", "o2": "", "do": ""},
    Q.AMMONIA: _AS_N | {"nh3n": "", "nh4n": "", "tan": "", "nh3": "NH3", "nh4": "NH4"},
    Q.NITRITE: _AS_N | {"no2n": "", "no2": "NO2"},
    Q.NITRATE: _AS_N | {"no3n": "", "no3": "NO3"},
    Q.HARDNESS: {"": "", "caco3": "", "ca": "Ca", "cao": "CaO"},
    Q.ALKALINITY: {"": "", "caco3": "CaCO3", "hco3": "HCO3", "cao": "CaO"},
    Q.CALCIUM: {"": "", "ca": "", "caco3": "CaCO3", "cao": "CaO"},
}
"""By quantity: the form an amount can be of, and how its code names it; empty: the form it is kept in."""

_MOLAR = {"mM": "mmol/L", "uM": "umol/L", "nM": "nmol/L"}
EXACT: dict[Q, dict[str, str]] = {
    **{q: _MOLAR for q in (Q.OXYGEN, Q.AMMONIA, Q.NITRITE, Q.NITRATE, Q.HARDNESS, Q.CALCIUM)},
    Q.PRESSURE: {"MPa": "MPa"},
}
"""Compact labels whose upper and lower case carry the meaning."""
