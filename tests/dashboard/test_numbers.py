"""The page "Where the numbers come from": everything on it is the program's own, nothing is left out."""

from __future__ import annotations

import html
import re
from dataclasses import fields, replace

import pytest

from api.domain.checks import CheckLimits
from api.domain.quantity import MEANING, Quantity
from api.domain.reading import Flag
from api.judge.check_defaults import defaults
from api.science.agreement import agreements
from api.science.formulas import FORMULAS
from api.science.references import REFERENCES
from api.science.units import converter, known_units
from api.services.numbers import UnitLine, numbers
from dashboard.numbers import amount, becomes, group_views, plain, quantity_views, short
from dashboard.probes import LIMIT_WORDS
from tests.dashboard.caller import Caller


def text_of(page: str) -> str:
    """The words of a page, without its markup."""
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page)).split())


def test_it_is_reached_from_every_page(client: Caller) -> None:
    """A link in the footer; the page loads nothing from elsewhere and says the room is invented."""
    assert 'href="/numbers"' in client.get("/").text
    answer = client.get("/numbers")
    assert answer.status_code == 200
    assert "simulated room: invented data" in answer.text
    assert not re.findall(r'(?:src|href|action)="(?:https?:)?//', answer.text)
    assert " style=" not in answer.text


def test_every_unit_of_every_quantity_stands_there(client: Caller) -> None:
    """Code and label of each, under its quantity."""
    page = client.get("/numbers").text
    words = text_of(page)
    for quantity in Quantity:
        assert f"{MEANING[quantity].label} {MEANING[quantity].unit_label}" in words
        for code, label in known_units(quantity)[1:]:
            assert f"<code>{html.escape(code, quote=True).replace('&#x27;', '&#39;')}</code>" in page
            assert label in words


@pytest.mark.parametrize("quantity", list(Quantity))
def test_the_factor_shown_is_the_factor_used(quantity: Quantity) -> None:
    """Read back from the page, "1 µg/L = 0.001 mg/L" is what the service does with a reading."""
    for view in next(view for view in quantity_views(numbers()) if view.name == quantity).units:
        if view.becomes.startswith("1 "):
            shown = view.becomes.rsplit(f" {MEANING[quantity].unit_label}", 1)[0].rsplit(" = ", 1)[1]
            assert converter(quantity, view.code)(1.0) == pytest.approx(float(shown), rel=1e-6)
    rules = [view.becomes for view in quantity_views(numbers())[0].units]
    assert rules == ["°C = (°F \N{MINUS SIGN} 32) × 5 / 9", "°C = K \N{MINUS SIGN} 273.15"]


@pytest.mark.parametrize(
    ("value", "shown"),
    [(17.84795906, "17.84796"), (1e-6, "0.000001"), (0.001, "0.001"), (14.007e-6, "0.000014007"), (1e9, "1000000000")],
)
def test_factors_are_written_without_powers(value: float, shown: str) -> None:
    """A keeper reads them."""
    assert amount(value) == shown


def test_a_shift_without_a_scale_is_told() -> None:
    """Kelvin to Celsius has no factor to show."""
    kelvin, kept = UnitLine("K", "K", 1.0, 1.0, 273.15, ""), UnitLine("Cel", "°C", 1.0, 1.0, 0.0, "")
    assert becomes(kelvin, kept) == "°C = K \N{MINUS SIGN} 273.15"


def test_every_formula_stands_there_with_its_ranges_and_sources(client: Caller) -> None:
    """Equation, unit, range, sources and its place in the code, as the registry has them."""
    page = client.get("/numbers").text
    words = text_of(page).replace("\N{MINUS SIGN}", "-")
    for formula in FORMULAS:
        for said in (formula.name, formula.equation, formula.path):
            assert " ".join(said.split()) in words
        for span in formula.spans:
            assert f"{span.name} {amount(span.low) if span.low >= 0 else f'-{amount(-span.low)}'} to" in words
        for key in formula.references:
            assert f'href="#source-{key}"' in page
    for source in REFERENCES:
        assert page.count(f'id="source-{source.key}"') == 1
        assert " ".join(source.title.split()) in text_of(page)


def read_back(shown: str) -> float:
    """A difference as the page writes it, "4.97 × 10⁻⁶ mg/L" or "0.002 mg/L", as a number."""
    digits, _, power = shown.partition(" × 10")
    if not power:
        return float(digits.split(" ")[0]) if digits != "none" else 0.0
    return float(digits) * 10.0 ** int(power.split(" ")[0].translate(str.maketrans("⁻⁰¹²³⁴⁵⁶⁷⁸⁹", "-0123456789")))


def test_every_published_table_stands_there_with_its_largest_difference() -> None:
    """Rows, largest difference and tolerance of every table the tests hold a formula beside, in their order."""
    groups = group_views(numbers())
    assert sum(len(group.tables) for group in groups) == len(agreements())
    for group in groups:
        wanted = [table for table in agreements() if table.group == group.name]
        for view, table in zip(group.tables, wanted, strict=True):
            assert (view.source, int(view.rows)) == (plain(table.source), table.rows)
            assert read_back(view.largest) == pytest.approx(table.largest, rel=0.01)
            assert read_back(view.tolerance) == pytest.approx(table.tolerance, rel=0.01)
    assert groups[0].summary.endswith("published tables, within what is tolerated")


def test_a_formula_that_left_its_table_is_told() -> None:
    """The page says so in capitals, with the numbers beside it."""
    now = numbers()
    far = replace(now.groups[0].tables[0], largest=0.05, tolerance=0.002, unit="mg/L", unmet=2)
    view = group_views(replace(now, groups=(replace(now.groups[0], tables=(far,)),)))[0]
    assert view.summary.endswith("NOT within what is tolerated")
    assert (view.tables[0].largest, view.tables[0].tolerance) == ("0.05 mg/L", "0.002 mg/L")
    assert view.tables[0].unmet.startswith("2 more cannot be met")


@pytest.mark.parametrize(
    ("authors", "called"),
    [
        ("Benson, B. B.; Krause, D.", "Benson & Krause"),
        ("Hill, K. D.; Dauphinee, T. M.; Woods, D. J.", "Hill and others"),
        ("Diaz, F. and others", "Diaz and others"),
        ("Weiss, R. F.", "Weiss"),
        ("NOAA, NASA, US Air Force", "NOAA, NASA, US Air Force"),
    ],
)
def test_sources_are_called_by_their_names(authors: str, called: str) -> None:
    """People by surname, bodies by their whole name."""
    assert short(authors) == called


def test_limits_are_those_a_probe_is_checked_by(client: Caller) -> None:
    """A probe's usual pace is the room file's default, and each limit that is set is told in words."""
    words = text_of(client.get("/numbers").text)
    assert "every 60 s in a tank of 40 L" in words
    for quantity in Quantity:
        limits = defaults(quantity, 60.0)
        for field in fields(CheckLimits):
            value = getattr(limits, field.name)
            if value != field.default:
                assert f"{LIMIT_WORDS[field.name]} {value:g}".replace("-", "\N{MINUS SIGN}") in words.replace(
                    "-", "\N{MINUS SIGN}"
                )


def test_every_flag_is_explained(client: Caller) -> None:
    """QARTOD's numbers; failed and missing readings are not judged, suspect ones are."""
    words = text_of(client.get("/numbers").text)
    assert {line.flag: line.judged for line in numbers().flags} == {
        Flag.GOOD: True, Flag.NOT_EVALUATED: True, Flag.SUSPECT: True, Flag.FAIL: False, Flag.MISSING: False,
    }  # fmt: skip
    for start in ("1, good", "2, not checked", "3, suspect", "4, failed its check", "9, missing"):
        assert start in words
