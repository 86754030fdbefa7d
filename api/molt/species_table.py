"""The table of species: each number with its source key, or "judgement", or "common practice, no source".

Must not do: compute, or hold a number without saying where it comes from.
"""

from __future__ import annotations

from api.domain.animal import Animal
from api.molt.species import JUDGED, PRACTICE, Figure, Species, by_days, by_degree_days, pace

_RIDE = Figure(2.5, "d", PRACTICE, "2 to 3 days; the mother is taken out by day 3")
_AS_SIGNAL = "no figure found: as the signal crayfish, wide"
_AS_MARBLED = "no figure found: as the marbled crayfish, wide"


def _mm(value: float, sd: float, source: str = JUDGED, note: str = "") -> Figure:
    return Figure(value, "mm", source, note, sd)


def _c(value: float, source: str = JUDGED, note: str = "") -> Figure:
    return Figure(value, "Cel", source, note)


def _spread(value: float, source: str = JUDGED, note: str = "") -> Figure:
    return Figure(value, "1", source, note)


def _faxonius(name: str, mature_mm: float) -> Species:
    return Species(
        name=name,
        zero=_c(8.0, "ozarkae", "another species of the genus begins to molt above 9 and stops below 8 °C"),
        cap=_c(26.0),
        pace=pace(33.0, 0.5, JUDGED, "no figure found: between the slow and the fast readings, wide"),
        mature=_mm(mature_mm, 4.0),
        winter=True,
        hatching=by_degree_days(5.0, 420.0, 24.0),
        clutch=_spread(0.35, JUDGED, "no figure found"),
        carried=_RIDE,
        usual_c=19.0,
    )


SPECIES = (
    Species(
        name="Procambarus clarkii",
        zero=_c(5.0, "mcclain_2010", "the base of its degree-days"),
        cap=_c(28.0, "clarkii_growth_2024", "28 °C best of 25, 28, 31, 34 and 37"),
        pace=pace(28.0, 0.5, "mcclain_2010", "midway between readings of the sources that differ 2.8-fold: wide"),
        mature=_mm(33.0, 6.0, "clarkii_maturity_2024", "males 35 to 37 mm; captive ones smaller (judgement)"),
        winter=False,
        hatching=by_days((17.0, 82.2), (21.0, 30.3), (25.0, 20.8), zero_c=14.0, cap_c=27.0),
        clutch=_spread(0.14, "jin_2019"),
        carried=_RIDE,
        usual_c=22.0,
    ),
    Species(
        name="Procambarus virginalis",
        zero=_c(10.0, "seitz_2005", "by fit to its growth at 15, 20 and 25 °C"),
        cap=_c(28.0, "seitz_2005", "30 °C no faster than 25"),
        pace=pace(39.0, 0.35, "seitz_2005", "from days between lengths at 20 and 25 °C, with the gains of our table"),
        mature=_mm(18.0, 3.0, "seitz_2005", "14 to 21.5 mm"),
        winter=False,
        hatching=by_degree_days(10.0, 195.0, 25.0),
        clutch=_spread(0.2, "vogt_2004", "17 to 22 d at 18 to 21 °C; thermal zero: judgement"),
        carried=Figure(25.0, "d", "vogt_2004", "11 to 38 d: longer than common practice says"),
        usual_c=22.0,
    ),
    Species(
        name="Pacifastacus leniusculus",
        zero=_c(5.0, "kozak_2009", "4.5 by fit, flat between 4 and 6"),
        cap=_c(22.0, JUDGED, "best at 19 to 23 °C, stressed from 25"),
        pace=pace(44.7, 0.35, "kozak_2009", "ten means; carapace length taken as half the total length (judgement)"),
        mature=_mm(38.0, 4.0, "abrahamsson_1971", "total length 80 mm; smallest with eggs 36.3 mm carapace"),
        winter=True,
        hatching=by_degree_days(0.0, 1085.0, 18.0),
        clutch=_spread(0.3, "celada_1987", "70 d at 15.5 °C; 1500 to 2200 degree-days in nature, over a winter"),
        carried=Figure(10.0, "d", "kozak_2009", "stage 2 begins 6 to 10 d after hatching, and still clings"),
        usual_c=17.0,
    ),
    Species(
        name="Cherax quadricarinatus",
        zero=_c(10.0, JUDGED, "avoids water below 11.7 °C"),
        cap=_c(28.0, JUDGED, "grows best at 28 to 29 °C"),
        pace=pace(39.0, 0.6, JUDGED, _AS_MARBLED),
        mature=_mm(50.0, 10.0),
        winter=False,
        hatching=by_days((23.9, 45.0), (27.8, 30.0), zero_c=16.1, cap_c=29.0),
        clutch=_spread(0.25, "redclaw_hatching", "30 to 45 d; 66 to 72 d until the young are off also told"),
        carried=Figure(8.5, "d", "redclaw_hatching", "stay 7 to 10 d: longer than common practice says"),
        usual_c=25.0,
    ),
    Species(
        name="Cherax destructor",
        zero=_c(10.0, JUDGED, "grows above 15 °C"),
        cap=_c(28.0, JUDGED, "grows best at 22 to 28 °C"),
        pace=pace(39.0, 0.6, JUDGED, _AS_MARBLED),
        mature=_mm(40.0, 10.0),
        winter=False,
        hatching=by_degree_days(10.0, 360.0, 28.0),
        clutch=_spread(0.25, "sandeman_1991", "40 d at 19 °C; thermal zero: judgement"),
        carried=Figure(22.0, "d", "sandeman_1991", "7 to 8 d to stage 2 and 14 more: longer than common practice"),
        usual_c=22.0,
    ),
    Species(
        name="Cherax cainii",
        zero=_c(10.0, "morrissy_1990", "grows from 11 to 13 °C on"),
        cap=_c(24.0, "morrissy_1990", "grows best at 24 °C"),
        pace=pace(42.0, 0.6, JUDGED, _AS_MARBLED),
        mature=_mm(60.0, 15.0),
        winter=False,
        hatching=by_degree_days(8.0, 450.0, 24.0),
        clutch=_spread(0.35, JUDGED, "no figure found"),
        carried=_RIDE,
        usual_c=19.0,
    ),
    Species(
        name="Astacus astacus",
        zero=_c(5.0, JUDGED, _AS_SIGNAL),
        cap=_c(22.0, JUDGED, "best at 19 to 20 °C, stressed from 23"),
        pace=pace(44.7, 0.5, JUDGED, _AS_SIGNAL),
        mature=_mm(37.0, 5.0, "abrahamsson_1971", "total length 77 mm"),
        winter=True,
        hatching=by_degree_days(0.0, 1610.0, 18.0),
        clutch=_spread(0.3, "policar_2004", "45 d at 5.5 and 109 d at 12.5 °C"),
        carried=Figure(10.0, "d", JUDGED, "as the signal crayfish"),
        usual_c=17.0,
    ),
    Species(
        name="Pontastacus leptodactylus",
        zero=_c(5.0, JUDGED, _AS_SIGNAL),
        cap=_c(24.0),
        pace=pace(44.7, 0.5, JUDGED, _AS_SIGNAL),
        mature=_mm(42.0, 6.0),
        winter=True,
        hatching=by_degree_days(0.0, 1500.0, 20.0),
        clutch=_spread(0.35, JUDGED, "no figure from laying on was found"),
        carried=Figure(10.0, "d", JUDGED, "as the signal crayfish"),
        usual_c=18.0,
    ),
    Species(
        name="Austropotamobius pallipes",
        zero=_c(5.0, JUDGED, _AS_SIGNAL),
        cap=_c(20.0),
        pace=pace(44.7, 0.5, JUDGED, _AS_SIGNAL),
        mature=_mm(25.0, 3.0),
        winter=True,
        hatching=by_degree_days(0.0, 1600.0, 16.0),
        clutch=_spread(0.35, JUDGED, "no figure found"),
        carried=Figure(10.0, "d", JUDGED, "as the signal crayfish"),
        usual_c=15.0,
    ),
    _faxonius("Faxonius limosus", 25.0),
    _faxonius("Faxonius rusticus", 25.0),
    _faxonius("Faxonius virilis", 30.0),
)
UNKNOWN = Species(
    name="species not known",
    zero=_c(7.0),
    cap=_c(27.0),
    pace=pace(35.0, 0.75, JUDGED, "any crayfish: very wide"),
    mature=_mm(35.0, 10.0),
    winter=False,
    hatching=by_degree_days(10.0, 350.0, 26.0),
    clutch=_spread(0.5),
    carried=_RIDE,
    usual_c=21.0,
    known=False,
)
_BY_NAME = {one.name.casefold(): one for one in SPECIES}


def figures_of(name: str) -> Species:
    """The figures of a species by its name in any case; those of any crayfish, very wide, where it is not known."""
    return _BY_NAME.get(" ".join(name.split()).casefold(), UNKNOWN)


def group_of(animal: Animal) -> str:
    """Which animals learn from each other: those of one species, or of one name that we do not know."""
    return " ".join(animal.species.split()).casefold()
