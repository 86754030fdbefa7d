"""Units, decimal signs and probes of the columns: what the file says, and what is asked about.

Must not do: suggest a unit the file does not name.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

from api.domain.errors import InputError
from api.domain.quantity import MEANING, Quantity
from api.domain.reading import PROBE_ID, PROBE_ID_RULE
from api.intake.asked import Asked
from api.intake.column import Column, Columns
from api.intake.label_words import EXACT_NAMES, Role
from api.intake.labels import read, read_unit
from api.intake.numbers import number
from api.science.units import known_units

_COMMA, _POINT = re.compile(r"[-+]?\d*,\d+(?![\d,.])"), re.compile(r"[-+]?\d*\.\d+(?![\d,.])")
_COMMA_THREE, _POINT_THREE = re.compile(r"[-+]?\d{1,3},\d{3}\Z"), re.compile(r"[-+]?\d{1,3}\.\d{3}\Z")
_BOTH_POINT = re.compile(r"[-+]?\d{1,3}(?:,\d{3})+\.\d+\Z|[-+]?\d{1,3}(?:,\d{3}){2,}\Z")
_BOTH_COMMA = re.compile(r"[-+]?\d{1,3}(?:\.\d{3})+,\d+\Z|[-+]?\d{1,3}(?:\.\d{3}){2,}\Z")


def decimal(columns: Columns, asked: Asked) -> tuple[str, bool]:
    """The decimal sign, and whether thousands are parted, as the numbers themselves prove it; else it is asked."""
    cells = [cell.strip().strip('"') for column in columns.readings for cell in column.cells]
    commas = [cell for cell in cells if _COMMA.match(cell)]
    grouped_point = any(_BOTH_POINT.match(cell) for cell in cells)
    grouped_comma = any(_BOTH_COMMA.match(cell) for cell in cells)
    if not commas and not grouped_point and not grouped_comma:
        return ".", False
    points = any(_POINT.match(cell) and not _POINT_THREE.match(cell) for cell in cells)
    if grouped_point and not grouped_comma:
        asked.note("commas part thousands, the decimal sign is a point")
        return ".", True
    if grouped_comma and not grouped_point:
        asked.note("points part thousands, the decimal sign is a comma")
        return ",", True
    if any(not _COMMA_THREE.match(cell) for cell in commas) and not points:
        asked.note("the decimal sign is a comma")
        return ",", False
    if points and not all(_COMMA_THREE.match(cell) for cell in commas):
        asked.note("some numbers have a decimal comma and others a point; those with a comma are refused")
        return ".", False
    choice = asked.ask(
        "decimal", f"Is {commas[0]!r} a number with a decimal comma, or are its thousands parted by the comma?",
        (("comma", "a decimal comma"), ("point", "thousands: the decimal sign is a point")),
        "every number with a comma has three digits behind it",
    )  # fmt: skip
    return ("." if choice == "point" else ","), choice == "point"


def units(columns: Columns, texts: Mapping[tuple[str, ...], int], asked: Asked) -> dict[str, str]:
    """Give each reading column its unit; for a long table, the units of quantities whose rows name none."""
    if columns.of(Role.VALUE) is not None:
        return _row_units(columns, texts, asked)
    lacking = [one for one in columns.readings if not one.unit]
    for one in lacking:
        quantity = Quantity(one.quantity)
        marked = [number(cell)[1] for cell in one.cells if number(cell)[0] == number(cell)[0]]
        if marked and all(marked):
            asked.note(f"the cells of {one.name!r} name their unit")
            continue
        same = sum(other.quantity == one.quantity for other in lacking)
        key = f"unit:{one.name}" if same == 1 else f"unit:{quantity}"
        where = f"column {one.name!r}" if same == 1 else f"the columns of {quantity}"
        one.unit = _ask_unit(
            key, where, quantity, one.label.doubt, asked, (f"unit:{one.name}", f"unit:{quantity}", "unit")
        )
    for one in columns.readings:
        told = asked.answer(f"unit:{one.name}")
        if told is not None and one.unit and one not in lacking:
            one.unit = _unit(Quantity(one.quantity), told, f"unit:{one.name}")
    return {}


def _ask_unit(key: str, where: str, quantity: Quantity, doubt: str, asked: Asked, also: tuple[str, ...]) -> str:
    choices = known_units(quantity)
    given = asked.answer(key, *also)
    if given is not None:
        return _unit(quantity, given, key)
    why = f"the file names a unit that is not taken: {doubt}" if doubt else "the file does not name it"
    asked.ask(key, f"In which unit is {MEANING[quantity].label} in {where}?", choices, why)
    return ""


def _unit(quantity: Quantity, text: str, key: str) -> str:
    code, why = read_unit(quantity, text)
    if not code:
        choices = ", ".join(code for code, _ in known_units(quantity))
        raise InputError(
            f"the answer {key}={text[:40]} is no unit for {quantity}{why and ': ' + why}; use one of: {choices}"
        )
    return code


def quantities(columns: Columns, texts: Mapping[tuple[str, ...], int], asked: Asked) -> dict[str, str]:
    """The file's own words for quantities in a long table, to ours; words of no quantity are asked about."""
    if columns.of(Role.QUANTITY) is None:
        return {}
    found: dict[str, str] = {}
    for word in dict.fromkeys(key[1] for key in texts):
        if not word or word.casefold() in EXACT_NAMES:
            continue
        label = read(word)
        told = asked.answer(f"quantity:{word}")
        if told is not None:
            found[word] = asked.ask(f"quantity:{word}", "", [*((str(q), "") for q in Quantity), ("skip", "")], "") or ""
        elif label.quantity is not None:
            found[word] = str(label.quantity)
        else:
            choices = [*((str(one), meaning.label) for one, meaning in MEANING.items()), ("skip", "refuse its rows")]
            asked.ask(f"quantity:{word}", f"Which quantity does the file call {word[:60]!r}?", choices,
                      label.doubt or "it is none of our words for one", suggestion="skip", must=False)  # fmt: skip
    return found


def _row_units(columns: Columns, texts: Mapping[tuple[str, ...], int], asked: Asked) -> dict[str, str]:
    value = columns.the(Role.VALUE)
    found: dict[str, str] = {}
    marked = any(number(cell)[1] for cell in value.cells)
    for _, word, unit in texts:
        name = word or value.quantity
        label = read(word)
        quantity = EXACT_NAMES.get(name.casefold()) or label.quantity
        if unit or quantity is None or name in found or marked:
            continue
        if label.unit:
            found[name] = label.unit
        elif quantity is Quantity.PH:
            found[name] = "pH"
        else:
            key = f"unit:{name}"
            told = _ask_unit(key, "this file's rows", quantity, "", asked, (key, "unit"))
            if told:
                found[name] = told
    return found


def probes(columns: Columns, texts: Mapping[tuple[str, ...], int], asked: Asked) -> tuple[str, dict[str, str]]:
    """The probe of rows and columns that name none, and what the file's names mean; ids a keeper can change."""
    named = columns.of(Role.PROBE)
    if named is None:
        return _column_probes(columns, asked), {}
    found: dict[str, str] = {}
    for text in dict.fromkeys(key[0].removeprefix("'").strip() for key in texts):
        if not text:
            continue
        slug = _slug(text)
        told = asked.ask(
            f"probe:{text}", f"Which probe is {text[:60]!r} of column {named.name!r}?", (),
            "readings belong to a probe, by its id in the room file", suggestion=slug, must=not slug,
        ) if len(found) < 200 or asked.answer(f"probe:{text}") else slug  # fmt: skip
        if told and told != text:
            found[text] = _probe_id(told, f"probe:{text}")
    return _probe_id(asked.answer("probe") or "", "probe"), found


def _column_probes(columns: Columns, asked: Asked) -> str:
    """A probe for each column of a wide table, or one for all."""
    seen: dict[tuple[str, str], Column] = {}
    bare = [one for one in columns.readings if not one.probe]
    whole = ""
    if bare:
        whole = asked.ask("probe", "Which probe measured this?", (), "no column and no header names one") or ""
    for one in columns.readings:
        double = seen.get((one.probe, one.quantity))
        key = f"probe:{one.name}"
        if one.probe and double is None:
            tank = one.probe
            slug = _slug(tank)
            told = asked.ask(
                f"probe:{tank}", f"Which probe is {tank!r} of the header?", (),
                "readings belong to a probe, by its id in the room file", suggestion=slug, must=not slug, also=(key,),
            )  # fmt: skip
        elif double is not None:
            told = asked.ask(
                key, f"Which probe is column {one.name!r}?", (),
                f"column {double.name!r} has the same name and quantity, and one probe cannot say two things at once",
            )  # fmt: skip
        else:
            told = asked.answer(key)
        seen[(one.probe, one.quantity)] = one
        one.probe = _probe_id(told or "", key)
    return _probe_id(whole, "probe")


def collisions(columns: Columns, whole: str) -> None:
    """Raises InputError when two columns are one probe's one quantity."""
    seen: dict[tuple[str, str], str] = {}
    for one in columns.readings:
        key = (one.probe or whole, one.quantity)
        if one.role is Role.READING and key[0] and key in seen:
            raise InputError(
                f"columns {seen[key]!r} and {one.name!r} are both told to be {key[1]} of probe {key[0]!r};"
                f" answer probe:{one.name} with another id, or quantity:{one.name}=skip"
            )
        seen[key] = one.name


def _slug(text: str) -> str | None:
    """An id made of a name, where one can be."""
    slug = re.sub(r"[^A-Za-z0-9_.:-]+", "-", text.strip()).strip("-.:_")[:64]
    return slug if PROBE_ID.match(slug) else None


def _probe_id(text: str, key: str) -> str:
    if text and not PROBE_ID.match(text):
        raise InputError(f"the answer {key}={text[:60]} is no id of a probe: {PROBE_ID_RULE}")
    return text
