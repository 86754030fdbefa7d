"""Labels people type: many spellings of one unit, and those that are refused with the choices named."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from api.domain.errors import UnclearUnit, UnknownUnit
from api.domain.quantity import MEANING, Quantity
from api.domain.reading import Flag, RawReading
from api.domain.tank import Room, ServiceSettings
from api.science.unit_aliases import ALIASES, AMOUNTS, FORMS
from api.science.unit_labels import LONGEST, compact
from api.science.unit_table import TABLE
from api.science.units import converter, from_canonical, known_units
from api.services.convert import convert
from api.services.plan import RoomPlan

SAME: dict[tuple[Quantity, str], str] = {
    (Quantity.TEMPERATURE, "Cel"): "C|c|°C|ºC|˚C|℃|° C|deg C|degC|deg. C|degrees C|degree Celsius|DEGREES CELSIUS"
    "|centigrade",
    (Quantity.TEMPERATURE, "[degF]"): "F|f|°F|ºF|℉|deg F|degF|Fahrenheit|degrees Fahrenheit|[DEGF]",
    (Quantity.TEMPERATURE, "K"): "k|kelvin|Kelvins",
    (Quantity.OXYGEN, "mg/L"): "mg/l|MG/L|Mg/L|mg / L|mg L-1|mg L^-1|mg·L⁻¹"
    "|mg.L-1|mg l**-1|mg O2/L|mg/L O2|mg/L DO|ppm|PPM"
    "|[ppm]|g/m3|g/m³|g/m^3|g m-3|milligrams per litre|Milligrams per Liter|ug/mL|mg/dm3",
    (Quantity.OXYGEN, "ug/L"): "µg/L|μg/L|mcg/L|ppb|mg/m3",
    (Quantity.OXYGEN, "g/L"): "kg/m3|g/l",
    (Quantity.OXYGEN, "umol/L"): "µmol/L|μmol/L|umol/l|UMOL/L|µmol L⁻¹|mmol/m3|mmol/m³|µM|uM|micromoles per litre",
    (Quantity.OXYGEN, "mmol/L"): "mol/m3|mM|mmol/l",
    (Quantity.OXYGEN, "mL/L"): "ml/l|mL O2/L|ml L-1|mL(STP)/L",
    (Quantity.OXYGEN_SATURATION, "%"): "% sat|%sat|pct|percent|per cent|% saturation|% air saturation"
    "|% of air saturation|/100",
    (Quantity.PH, "pH"): "[pH]|ph|PH|pH units|s.u.|1",
    (Quantity.CONDUCTIVITY, "uS/cm"): "µS/cm|μS/cm|us/cm|US/CM|ΜS/CM|uS cm-1|µS·cm⁻¹|umho/cm|µmhos/cm"
    "|microsiemens per cm|µS/cm at 25 °C|µS/cm (25 °C)|uS/cm @25C",
    (Quantity.CONDUCTIVITY, "mS/cm"): "ms/cm|mmho/cm|millisiemens/cm|mS cm^-1",
    (Quantity.CONDUCTIVITY, "S/m"): "s/m|S m-1|siemens per metre",
    (Quantity.AMMONIA, "mg/L"): "mg/l N|mg/L as N|mg/L-N|mg N/L|mg NH3-N/L|mg/L NH3-N|mg/L (NH4-N)"
    "|mg/L TAN|mg/L{N}|ppm",
    (Quantity.AMMONIA, "mg/L NH3"): "mg/l as NH3|mg NH3/L|mg/L NH₃|ppm NH3|mg{NH3}/L",
    (Quantity.AMMONIA, "mg/L NH4"): "mg/L NH4+|mg/L NH₄⁺|mg NH4/l",
    (Quantity.NITRITE, "mg/L"): "mg/L NO2-N|mg NO2-N/L|ppm NO2-N",
    (Quantity.NITRITE, "mg/L NO2"): "mg/L NO2-|mg/l as NO2|ppm NO2|mg/L NO₂⁻",
    (Quantity.NITRATE, "mg/L"): "mg/L NO3-N|mg/L NO3--N|mg/L as N|mg NO3-N/L|ppm NO3-N",
    (Quantity.NITRATE, "mg/L NO3"): "mg/L NO3-|mg/l as NO3|ppm NO3|mg NO3/L|mg/L NO₃⁻",
    (Quantity.NITRATE, "umol/L"): "µmol/L NO3|uM|mmol/m3",
    (Quantity.HARDNESS, "mg/L"): "mg/L CaCO3|mg/l as CaCO3|mg/L CaCO₃|mg CaCO3/L|ppm|ppm CaCO3",
    (Quantity.HARDNESS, "mg/L Ca"): "mg/l as Ca|mg Ca/L|mg/L Ca2+|mg/L Ca²⁺",
    (Quantity.HARDNESS, "°dH"): "dGH|DGH|dgh|°dGH|dH|deg dH|German degrees|ºdH|° dH|GH|°d",
    (Quantity.HARDNESS, "°fH"): "°f|fH|French degrees",
    (Quantity.HARDNESS, "°e"): "Clark|°Clark|degrees Clark|English degrees",
    (Quantity.HARDNESS, "gpg"): "GPG|grains per US gallon",
    (Quantity.HARDNESS, "mmol/L"): "mmol/l|mol/m3|mM|mmol/L CaCO3",
    (Quantity.ALKALINITY, "°dH"): "dKH|dkh|°dKH|KH|degrees KH",
    (Quantity.ALKALINITY, "meq/L"): "mEq/L|meq/l|MEQ/L|mval/L|milliequivalents per litre|eq/m3",
    (Quantity.ALKALINITY, "mg/L"): "mg/L as CaCO3|ppm|ppm CaCO3",
    (Quantity.ALKALINITY, "mg/L HCO3"): "mg/L HCO3-|mg/l as HCO3|mg/L HCO₃⁻",
    (Quantity.CALCIUM, "mg/L"): "mg/L Ca|mg/L as Ca|mg/L Ca2+|ppm|mg Ca/L",
    (Quantity.CALCIUM, "mg/L CaCO3"): "mg/l as CaCO3|ppm CaCO3",
    (Quantity.FLOW, "L/min"): "l/min|lpm|LPM|L min-1|litres per minute|L per min",
    (Quantity.FLOW, "L/h"): "l/h|L/hr|lph|litres per hour|L h-1",
    (Quantity.FLOW, "mL/min"): "ml/min|cc/min|millilitres per minute",
    (Quantity.FLOW, "m3/h"): "m³/h|m^3/h|cubic metres per hour",
    (Quantity.FLOW, "[gal_us]/min"): "gpm|GPM|US gpm|US gal/min|US gallons per minute",
    (Quantity.FLOW, "[gal_us]/h"): "gph|GPH|US gal/hr",
    (Quantity.FLOW, "[gal_br]/min"): "imp gal/min|imperial gallons per minute|UK gal/min|igpm",
    (Quantity.LEVEL, "cm"): "CM|centimetres|centimeter",
    (Quantity.LEVEL, "[in_i]"): 'in|in.|inch|inches|"|″',
    (Quantity.LEVEL, "[ft_i]"): "ft|feet|foot|'|′",
    (Quantity.PRESSURE, "hPa"): "hpa|HPA|hectopascals",
    (Quantity.PRESSURE, "mbar"): "MBAR|mb|millibars|m bar",
    (Quantity.PRESSURE, "mm[Hg]"): "mmHg|mm Hg|MMHG|mm of mercury|millimetres of mercury",
    (Quantity.PRESSURE, "[in_i'Hg]"): "inHg|in Hg|INHG|inches of mercury|[in_i’Hg]",
    (Quantity.PRESSURE, "Torr"): "torr|TORR",
    (Quantity.PRESSURE, "[psi]"): "psi|PSI|psia",
}  # fmt: skip
SPELLED = [(quantity, code, label) for (quantity, code), labels in SAME.items() for label in labels.split("|")]


@pytest.mark.parametrize(("quantity", "code", "label"), SPELLED, ids=[f"{q}: {label}" for q, _, label in SPELLED])
def test_spellings(quantity: Quantity, code: str, label: str) -> None:
    """What people and instruments write means its code, both ways."""
    assert converter(quantity, label)(7.0) == converter(quantity, code)(7.0)
    assert from_canonical(quantity, label)(7.0) == from_canonical(quantity, code)(7.0)


def refused(quantity: Quantity, label: str) -> UnclearUnit:
    """The refusal of a label."""
    with pytest.raises(UnclearUnit) as caught:
        converter(quantity, label)
    with pytest.raises(UnclearUnit):
        from_canonical(quantity, label)
    return caught.value


TWO_MEANINGS = [
    (Quantity.TEMPERATURE, "degrees", "Cel|[degF]"), (Quantity.TEMPERATURE, "d", "Cel|[degF]"),
    (Quantity.TEMPERATURE, "°", "Cel|[degF]"),
    (Quantity.OXYGEN, "ppt", "g/L|mg/L"), (Quantity.OXYGEN, "M", "mmol/L|umol/L"), (Quantity.OXYGEN, "gr", "mg/L|g/L"),
    (Quantity.OXYGEN_SATURATION, "% O2", "%"), (Quantity.OXYGEN_SATURATION, "1", "/|%"),
    (Quantity.CONDUCTIVITY, "MS/cm", "mS/cm|uS/cm"), (Quantity.CONDUCTIVITY, "MS/CM", "mS/cm|uS/cm"),
    (Quantity.CONDUCTIVITY, "EC", "mS/cm|uS/cm"), (Quantity.CONDUCTIVITY, "µS", "uS/cm|mS/cm|mS/m|S/m"),
    (Quantity.NITRITE, "ppm", "mg/L N|mg/L NO2"), (Quantity.NITRATE, "ppm", "mg/L N|mg/L NO3"),
    (Quantity.NITRATE, "mg/L nitrate", "mg/L"), (Quantity.AMMONIA, "ppm ammonia", "mg/L"),
    (Quantity.HARDNESS, "degrees", "°dH|°fH|°e"), (Quantity.HARDNESS, "gr/gal", "gpg|°e"),
    (Quantity.HARDNESS, "°F", "°fH"),
    (Quantity.ALKALINITY, "mmol/L", "meq/L|mmol/L HCO3|mmol/L CaCO3"),
    (Quantity.ALKALINITY, "mM", "meq/L|mmol/L HCO3|mmol/L CaCO3"),
    (Quantity.CALCIUM, "ppt", "g/L|mg/L"),
    (Quantity.FLOW, "gal/min", "[gal_us]/min|[gal_br]/min"),
    (Quantity.FLOW, "gallons per hour", "[gal_us]/h|[gal_br]/h"),
    (Quantity.FLOW, "L/m", "L/min|mL/min"), (Quantity.FLOW, "ML/min", "mL/min"),
    (Quantity.LEVEL, "M", "m"), (Quantity.LEVEL, "Mm", "mm"),
    (Quantity.PRESSURE, "Mbar", "mbar"),
    (Quantity.PRESSURE, "mpa", "MPa|Pa|kPa"), (Quantity.PRESSURE, "in", "inHg"),
    (Quantity.PRESSURE, "mm", "mmHg"),
]  # fmt: skip


@pytest.mark.parametrize(("quantity", "label", "choices"), TWO_MEANINGS)
def test_two_meanings_are_refused(quantity: Quantity, label: str, choices: str) -> None:
    """Told with what to write instead, and each of those is taken."""
    error = refused(quantity, label)
    assert error.choices == tuple(choices.split("|"))
    assert label in str(error)
    for choice in error.choices:
        assert choice in str(error)
        assert isinstance(converter(quantity, choice)(1.0), float)


OTHER_QUANTITY = [
    (Quantity.OXYGEN, "%", "percent is oxygen_saturation"), (Quantity.OXYGEN, "% sat", "quantity oxygen_saturation"),
    (Quantity.OXYGEN, "mmHg", "partial pressure"), (Quantity.OXYGEN, "kPa", "partial pressure"),
    (Quantity.OXYGEN, "umol/kg", "density"), (Quantity.OXYGEN_SATURATION, "mg/L", "quantity oxygen$"),
    (Quantity.OXYGEN_SATURATION, "hPa", "partial pressure"), (Quantity.PH, "mV", "voltage"),
    (Quantity.CONDUCTIVITY, "ppm", "only the meter knows"), (Quantity.CONDUCTIVITY, "TDS", "only the meter knows"),
    (Quantity.CONDUCTIVITY, "mg/L TDS", "only the meter knows"), (Quantity.CONDUCTIVITY, "psu", "salinity"),
    (Quantity.CONDUCTIVITY, "uS/cm @20C", "25 °C"), (Quantity.AMMONIA, "mg/L UIA", "un-ionized"),
    (Quantity.HARDNESS, "dKH", "quantity alkalinity"), (Quantity.ALKALINITY, "dGH", "quantity hardness"),
    (Quantity.CALCIUM, "°dH", "quantity hardness"), (Quantity.FLOW, "m/s", "speed"), (Quantity.LEVEL, "%", "height"),
    (Quantity.LEVEL, "hPa", "pressure"), (Quantity.LEVEL, "L", "volume"), (Quantity.PRESSURE, "psig", "absolute"),
    (Quantity.PRESSURE, "m", "altitude_m"), (Quantity.HARDNESS, "%", "percent of what"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("quantity", "label", "words"), OTHER_QUANTITY, ids=[f"{q}: {x}" for q, x, _ in OTHER_QUANTITY]
)
def test_units_of_other_quantities_are_refused_with_words(quantity: Quantity, label: str, words: str) -> None:
    """The refusal says what the label belongs to."""
    with pytest.raises(UnclearUnit, match=words):
        converter(quantity, label)


@pytest.mark.parametrize(
    "label", ["furlong", "", " ", "m", "mV", "%RH", "Celsius per hour", "x" * 400, "\u0661", "°°", "-"]
)
def test_unknown_units_name_the_choices(label: str) -> None:
    """Not clear is one thing, unknown another: this lists what would do, and stays short."""
    with pytest.raises(UnknownUnit, match=r"use one of: Cel, \[degF\], K$") as caught:
        converter(Quantity.TEMPERATURE, label)
    assert not isinstance(caught.value, UnclearUnit)
    assert len(str(caught.value)) < 200


def test_ions_of_other_quantities_are_unknown() -> None:
    """Nitrate is no form of ammonia."""
    with pytest.raises(UnknownUnit, match="mg/L NH3"):
        converter(Quantity.AMMONIA, "mg/L NO3")


def test_a_refused_unit_keeps_the_reading() -> None:
    """The raw value stays, flagged, with the reason a person can act on."""
    plan = RoomPlan(Room("r", "UTC"), {}, {}, {}, (), ServiceSettings())
    kept = convert(RawReading("pump", Quantity.FLOW, 0, 4.0, "gal/min"), plan.channel("pump", Quantity.FLOW))
    assert (kept.value, kept.flag, kept.raw_value, kept.raw_unit) == (None, Flag.FAIL, 4.0, "gal/min")
    assert "[gal_us]/min or [gal_br]/min" in kept.reason


KNOWN = [(quantity, code, label) for quantity in Quantity for code, label in known_units(quantity)]


@pytest.mark.parametrize("quantity", list(Quantity))
def test_what_is_shown_is_taken(quantity: Quantity) -> None:
    """The canonical unit comes first, and every code and label a page shows can be typed back."""
    assert known_units(quantity)[0] == (MEANING[quantity].unit, MEANING[quantity].unit_label)
    for code, label in known_units(quantity):
        assert converter(quantity, label)(3.0) == converter(quantity, code)(3.0)
        assert RawReading("p", quantity, 0, 3.0, code).unit == code


def test_no_alias_leads_nowhere() -> None:
    """Every alias stands for a unit of its quantity, and is spelled as labels are once they are compact."""
    for quantity, rows in ALIASES.items():
        codes = {unit.code for unit in TABLE[quantity]}
        assert {label: code for label, code in rows.items() if code not in codes or compact(label) != label} == {}
    assert set(AMOUNTS.values()) <= {unit.code for units in TABLE.values() for unit in units}
    assert all(converter(quantity, "mg/L")(1.0) == 1.0 for quantity in FORMS)


SPACES = st.sampled_from(["", " ", "  ", "\t", "\u00a0", "\u2009"])
CASE_FREE = [(q, code, label) for q, code, label in SPELLED if label not in ("µM", "uM", "mM", "ΜS/CM")]


@given(st.sampled_from(CASE_FREE), SPACES, SPACES, st.sampled_from([str.upper, str.lower, str.swapcase, str.title]))
@example((Quantity.PRESSURE, "mbar", "mbar"), "", "", str.upper)
def test_case_and_space_do_not_matter(
    row: tuple[Quantity, str, str], before: str, after: str, case: Callable[[str], str]
) -> None:
    """In any case a label means the same or is refused as not clear, never something else; spaces do nothing."""
    quantity, code, label = row
    wanted = converter(quantity, code)(7.0)
    assert converter(quantity, before + label + after)(7.0) == wanted
    try:
        got = converter(quantity, before + case(label) + after)(7.0)
    except UnclearUnit:
        return
    assert got == wanted


@given(st.sampled_from(KNOWN), st.floats(-1e6, 1e6))
def test_there_and_back(row: tuple[Quantity, str, str], value: float) -> None:
    """A value comes back from its canonical unit as it was, to the last few bits."""
    quantity, code, _ = row
    back = from_canonical(quantity, code)(converter(quantity, code)(value))
    assert back == pytest.approx(value, rel=1e-13, abs=1e-10)


@given(st.sampled_from(list(Quantity)), st.text(max_size=40))
@example(Quantity.OXYGEN, "mg" + "/L" * 20)
@example(Quantity.HARDNESS, "deg" * 13)
@example(Quantity.OXYGEN, "ß" * LONGEST)
def test_any_text_is_a_unit_or_refused(quantity: Quantity, label: str) -> None:
    """Nothing a sender writes breaks the door."""
    try:
        number = converter(quantity, label)(1.0)
    except UnknownUnit:
        return
    assert isinstance(number, float)
