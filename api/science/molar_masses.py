"""Molar masses the conversions and the formulas share, from IUPAC's standard atomic weights (abridged values).

One place, so that a unit and a formula never differ by a digit. Must not do: round, or convert.
"""

from __future__ import annotations

H_G_MOL = 1.008
C_G_MOL = 12.011
N_G_MOL = 14.007
O_G_MOL = 15.999
MG_G_MOL = 24.305
CA_G_MOL = 40.078
"""IUPAC standard atomic weights, abridged. [g/mol]"""

NH3_G_MOL = N_G_MOL + 3 * H_G_MOL
NH4_G_MOL = N_G_MOL + 4 * H_G_MOL
NO2_G_MOL = N_G_MOL + 2 * O_G_MOL
NO3_G_MOL = N_G_MOL + 3 * O_G_MOL
CAO_G_MOL = CA_G_MOL + O_G_MOL
CACO3_G_MOL = CA_G_MOL + C_G_MOL + 3 * O_G_MOL
HCO3_G_MOL = H_G_MOL + C_G_MOL + 3 * O_G_MOL
"""Sums of the above. [g/mol]"""

O2_G_MOL = 31.9988
O2_MG_PER_ML_STP = 1.42905
"""Oxygen gas as USGS Technical Memorandum 2011.03 has it; today's weights would give 31.998. [g/mol] and [mg/mL]"""

CACO3_MG_MEQ = CACO3_G_MOL / 2
"""Calcium carbonate a milliequivalent of hardness or alkalinity stands for. [mg/meq]"""
