"""The sources of the formulas and published figures, each once; docstrings name their keys.

Seen in full, in part, or known from memory: ``seen`` says which. Must not do: compute.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Reference:
    """A published source. ``seen`` says how the figures used here were read from it."""

    key: str
    authors: str
    year: int
    title: str
    where: str
    seen: str


_CODE = "equations as carried by two open implementations that cite it, read in full; the paper itself not at hand"
_MEMORY = "from memory, checked against the published figures in tests/published"
_TABLE = "printed tables as quoted by open implementations, read in full"

REFERENCES = (
    Reference("benson_krause_1984", "Benson, B. B.; Krause, D.", 1984,
              "The concentration and isotopic fractionation of oxygen dissolved in freshwater and seawater in equilibrium "
              "with the atmosphere", "Limnology and Oceanography 29(3), 620-632", _CODE),
    Reference("usgs_2011_03", "US Geological Survey, Office of Water Quality", 2011,
              "Change to solubility equations for oxygen in water", "Technical Memorandum 2011.03; DOTABLES", _TABLE),
    Reference("apha_4500_o", "American Public Health Association", 2005,
              "Standard Methods for the Examination of Water and Wastewater, 4500-O", "table 4500-O:I", _TABLE),
    Reference("teos_10", "IOC, SCOR, IAPSO", 2010, "The international thermodynamic equation of seawater - 2010",
              "Manuals and Guides 56; reference library gsw", "the reference library, run beside ours in the tests"),
    Reference("garcia_gordon_1992", "Garcia, H. E.; Gordon, L. I.", 1992,
              "Oxygen solubility in seawater: better fitting equations",
              "Limnology and Oceanography 37(6), 1307-1312", _CODE),
    Reference("weiss_1970", "Weiss, R. F.", 1970, "The solubility of nitrogen, oxygen and argon in water and seawater",
              "Deep-Sea Research 17(4), 721-735", _CODE),
    Reference("scor_142", "SCOR Working Group 142", 2018, "Recommendations on the conversion between oxygen quantities",
              "SCOR", _MEMORY),
    Reference("us_standard_atmosphere_1976", "NOAA, NASA, US Air Force", 1976, "U.S. Standard Atmosphere, 1976",
              "NOAA-S/T 76-1562", _MEMORY),
    Reference("iupac_2021", "IUPAC Commission on Isotopic Abundances and Atomic Weights", 2021,
              "Standard atomic weights of the elements, abridged", "Pure and Applied Chemistry 94(5)", _MEMORY),
    Reference("standard_methods", "American Public Health Association", 2005,
              "Standard Methods for the Examination of Water and Wastewater, 2340 B and 2510", "APHA", _MEMORY),
    Reference("unesco_44", "UNESCO", 1983, "Algorithms for computation of fundamental properties of seawater",
              "Technical Papers in Marine Science 44", _MEMORY),
    Reference("hill_1986", "Hill, K. D.; Dauphinee, T. M.; Woods, D. J.", 1986,
              "The extension of the Practical Salinity Scale 1978 to low salinities",
              "IEEE Journal of Oceanic Engineering 11(1), 109-112", _MEMORY),
    Reference("emerson_1975", "Emerson, K.; Russo, R. C.; Lund, R. E.; Thurston, R. V.", 1975,
              "Aqueous ammonia equilibrium calculations: effect of pH and temperature",
              "Journal of the Fisheries Research Board of Canada 32(12), 2379-2383", _TABLE),
    Reference("epa_2013_ammonia", "US Environmental Protection Agency", 2013,
              "Aquatic life ambient water quality criteria for ammonia - freshwater", "EPA 822-R-13-001", _TABLE),
    Reference("epa_1986_oxygen", "US Environmental Protection Agency", 1986,
              "Ambient water quality criteria for dissolved oxygen", "EPA 440/5-86-003", _MEMORY),
    Reference("ccme_1999_oxygen", "Canadian Council of Ministers of the Environment", 1999,
              "Canadian water quality guidelines for the protection of aquatic life: dissolved oxygen", "CCME",
              "figure quoted by an open implementation"),
    Reference("asce_2006", "American Society of Civil Engineers", 2006,
              "Measurement of oxygen transfer in clean water", "ASCE/EWRI 2-06", _MEMORY),
    Reference("hendricks_2011", "Hendricks, D. W.", 2011, "Fundamentals of water treatment unit processes",
              "table 18.5 (a student's reaeration test)", "the table, read in full"),
    Reference("odum_1956", "Odum, H. T.", 1956, "Primary production in flowing waters",
              "Limnology and Oceanography 1(2), 102-117", _CODE),
    Reference("hornberger_1975", "Hornberger, G. M.; Kelly, M. G.", 1975,
              "Atmospheric reaeration in a river using productivity analysis",
              "Journal of the Environmental Engineering Division 101(5), 729-739", _CODE),
    Reference("bandyopadhyay_1967", "Bandyopadhyay, B.; Humphrey, A. E.; Taguchi, H.", 1967,
              "Dynamic measurement of the volumetric oxygen transfer coefficient in fermentation systems",
              "Biotechnology and Bioengineering 9(4), 533-544", _MEMORY),
    Reference("bates_1988", "Bates, D. M.; Watts, D. G.", 1988, "Nonlinear regression analysis and its applications",
              "Wiley", _MEMORY),
    Reference("belsley_1980", "Belsley, D. A.; Kuh, E.; Welsch, R. E.", 1980, "Regression diagnostics", "Wiley", _MEMORY),
    Reference("jahne_1987", "Jähne, B. and others", 1987, "On the parameters influencing air-water gas exchange",
              "Journal of Geophysical Research 92(C2), 1937-1949", _MEMORY),
    Reference("sincero_2003", "Sincero, A. P.; Sincero, G. A.", 2003, "Physical-chemical treatment of water and wastewater",
              "example 9.3", "the example, read in full"),
    Reference("raymond_2012", "Raymond, P. A. and others", 2012,
              "Scaling the gas transfer velocity and hydraulic geometry in streams and small rivers",
              "Limnology and Oceanography: Fluids and Environments 2, 41-53", _CODE),
    Reference("wanninkhof_1992", "Wanninkhof, R.", 1992,
              "Relationship between wind speed and gas exchange over the ocean",
              "Journal of Geophysical Research 97(C5), 7373-7382", _CODE),
    Reference("qartod", "US Integrated Ocean Observing System", 2018,
              "Manual for real-time quality control of dissolved oxygen observations, and the manuals for temperature and pH",
              "IOOS", "the pH manual read in full; the others share its tests"),
    Reference("queensland_redclaw", "Queensland Government", 2023, "Redclaw crayfish: water quality and husbandry",
              "business.qld.gov.au", "the page, read in full"),
    Reference("diaz_2004", "Diaz, F. and others", 2004, "Temperature preference and tolerance of juvenile red claw",
              "Journal of Thermal Biology", "abstract"),
    Reference("lawson_1982", "Lawson, T. B.; Wheaton, F. W.", 1982, "Crawfish culture systems and their management",
              "quoted in a handbook chapter", "as quoted"),
    Reference("mcclain_1999", "McClain, W. R.", 1999, "Effects of hypoxia on growth and survival of the crayfish "
              "Procambarus clarkii", "Freshwater Crayfish 12", "abstract"),
)  # fmt: skip
BY_KEY = {one.key: one for one in REFERENCES}
