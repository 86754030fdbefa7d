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
_COLLECTION = "figures as carried by an open data collection, read; the paper itself not at hand"

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
    Reference("wmo_8", "World Meteorological Organization", 2018, "Guide to instruments and methods of observation",
              "WMO-No. 8, chapter on pressure", "formula as a national weather service's manual has it, quoted in full"),
    Reference("colt_2012", "Colt, J.", 2012, "Dissolved gas concentration in water: computation as functions of "
              "temperature, salinity and pressure", "Elsevier, second edition", _CODE),
    Reference("mortimer_1981", "Mortimer, C. H.", 1981, "The oxygen content of air-saturated fresh waters over ranges of "
              "temperature and atmospheric pressure of limnological interest",
              "Mitteilungen der Internationalen Vereinigung für Limnologie 22, 1-23", _CODE),
    Reference("hobbs_1977", "Hobbs, P. V.; Wallace, J. M.", 1977, "Atmospheric science: an introductory survey",
              "Academic Press, 60-61", "as the reference library MetPy carries it"),
    Reference("iupac_2021", "IUPAC Commission on Isotopic Abundances and Atomic Weights", 2021,
              "Standard atomic weights of the elements, abridged", "Pure and Applied Chemistry 94(5)", _MEMORY),
    Reference("standard_methods", "American Public Health Association", 2005,
              "Standard Methods for the Examination of Water and Wastewater, 2340 B and 2510", "APHA", _MEMORY),
    Reference("nist_1991", "Wu, Y. C.; Koch, W. F.; Pratt, K. W.", 1991,
              "Proposed new electrolytic conductivity primary standards for KCl solutions",
              "Journal of Research of the National Institute of Standards and Technology 96, 191-201",
              "the table as a handbook of chemistry prints it, read in full"),
    Reference("unesco_44", "UNESCO", 1983, "Algorithms for computation of fundamental properties of seawater",
              "Technical Papers in Marine Science 44", _MEMORY),
    Reference("hill_1986", "Hill, K. D.; Dauphinee, T. M.; Woods, D. J.", 1986,
              "The extension of the Practical Salinity Scale 1978 to low salinities",
              "IEEE Journal of Oceanic Engineering 11(1), 109-112", _MEMORY),
    Reference("emerson_1975", "Emerson, K.; Russo, R. C.; Lund, R. E.; Thurston, R. V.", 1975,
              "Aqueous ammonia equilibrium calculations: effect of pH and temperature",
              "Journal of the Fisheries Research Board of Canada 32(12), 2379-2383", _TABLE),
    Reference("bates_pinching_1949", "Bates, R. G.; Pinching, G. D.", 1949,
              "Acidic dissociation constant of ammonium ion at 0 to 50 C, and the base strength of ammonia",
              "Journal of Research of the National Bureau of Standards 42, 419-430", "from memory"),
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
    Reference("kozak_2009", "Kozák, P.; Buřič, M.; Kanta, J. and others", 2009,
              "The effect of water temperature on the number of moults and growth of juvenile signal crayfish "
              "Pacifastacus leniusculus Dana", "Czech Journal of Animal Science 54(6)",
              "abstract; table of stages as carried by an open data collection, read in full"),
    Reference("gonzalez_2010", "González, R. and others", 2010, "Stocking density for the intensive rearing of juvenile "
              "crayfish, Pacifastacus leniusculus", "Aquaculture International 18(3), 371-378", _COLLECTION),
    Reference("abrahamsson_1971", "Abrahamsson, S. A. A.", 1971, "Density, growth and reproduction in populations of Astacus "
              "astacus and Pacifastacus leniusculus in an isolated pond", "Oikos 22, 373-380", _COLLECTION),
    Reference("celada_1987", "Celada, J. D. and others", 1987, "Embryonic development of the freshwater crayfish "
              "(Pacifastacus leniusculus Dana)", "The Anatomical Record 219(3), 304-310", _COLLECTION),
    Reference("policar_2004", "Policar, T. and others", 2004, "Incubation and rearing of noble crayfish under controlled "
              "conditions", "title not seen", _COLLECTION),
    Reference("guan_wiles_1999", "Guan, R.-Z.; Wiles, P. R.", 1999, "Growth and reproduction of the introduced crayfish "
              "Pacifastacus leniusculus in a British lowland river", "Fisheries Research 42", "abstract"),
    Reference("seitz_2005", "Seitz, R.; Vilpoux, K.; Hopp, U.; Harzsch, S.; Maier, G.", 2005,
              "Ontogeny of the Marmorkrebs (marbled crayfish)", "Journal of Experimental Zoology 303A", _COLLECTION),
    Reference("vogt_2004", "Vogt, G.; Tolley, L.; Scholtz, G.", 2004,
              "Life stages and reproductive components of the Marmorkrebs (marbled crayfish)",
              "Journal of Morphology 261", _COLLECTION),
    Reference("mcclain_2010", "McClain, W. R.", 2010, "Degree-days and growth of Procambarus clarkii in ponds; pace between "
              "it and fidalgo_2001", "Freshwater Crayfish", "abstract"),
    Reference("fidalgo_2001", "Fidalgo, M. L.; Carvalho, A. P.; Santos, P.", 2001, "Population dynamics of the red swamp "
              "crayfish, Procambarus clarkii, from the Aveiro region", "Crustaceana 74(4), 369-375", _COLLECTION),
    Reference("clarkii_growth_2024", "not noted", 2024, "Growth and survival of Procambarus clarkii at 25 to 37 degrees",
              "a Chinese journal of fisheries", "abstract"),
    Reference("clarkii_maturity_2024", "not noted", 2024, "Size at maturity of Procambarus clarkii in Sardinia",
              "Animals 14, doi 10.3390/ani14243558", "abstract"),
    Reference("jin_2019", "Jin, S. and others", 2019, "Optimizing reproductive performance and embryonic development of red "
              "swamp crayfish by manipulating water temperature", "Aquaculture, doi 10.1016/j.aquaculture.2019.04.066",
              _COLLECTION),
    Reference("redclaw_hatching", "extension text, reprinted", 2000, "Hatching Australian red claw", "informedfarmers.com",
              "the page; its own source is not told"),
    Reference("cabi_redclaw_1998", "quoted in an abstract journal", 1998, "Spawning and molting of Cherax quadricarinatus",
              "CABI abstract 19980101911", "abstract"),
    Reference("sandeman_1991", "Sandeman, R.; Sandeman, D.", 1991, "Stages in the development of the embryo of the fresh-water "
              "crayfish Cherax destructor", "Roux's Archives of Developmental Biology", "abstract"),
    Reference("morrissy_1990", "Morrissy, N. M.", 1990, "Optimum and favourable temperatures for growth of Cherax tenuimanus",
              "Australian Journal of Marine and Freshwater Research 41", "abstract"),
    Reference("ozarkae", "not noted", 2000, "Life history of Orconectes (Faxonius) ozarkae", "Freshwater Crayfish", "abstract"),
    Reference("stevenson_molt_stages", "Stevenson, J. R.", 1975, "The molting cycle in the crayfish: recognizing the molting "
              "stages", "Freshwater Crayfish 2", "table, as quoted"),
    Reference("huxley_1880", "Huxley, T. H., after Chantran, S.", 1880, "The Crayfish", "London", "the passage, read in full"),
    Reference("spinifer_molting", "not noted", 2004, "Moult increment and frequency in Euastacus spinifer", "abstract page",
              "abstract"),
    Reference("mauchline_1976", "Mauchline, J.", 1976, "The Hiatt growth diagram for Crustacea", "Marine Biology 35",
              "abstract"),
    Reference("hong_2013", "Hong, Y.", 2013, "On computing the distribution function for the Poisson binomial distribution",
              "Computational Statistics & Data Analysis 59", "from memory; checked against enumeration"),
    Reference("molt_signs", "aquarists' pages", 2020, "Signs before a molt: appetite 2 to 3 d, gap at the seam within 24 h",
              "pages of keepers", "read; low trust, no better figure found"),
    Reference("cambarus_winter", "not noted", 2000, "No molts of Cambarus robustus in winter under constant summer light "
              "and temperature", "abstract page", "abstract"),
)  # fmt: skip
BY_KEY = {one.key: one for one in REFERENCES}
