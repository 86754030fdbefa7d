"""Unit labels as people and instruments spell them, brought to one compact spelling.

``°F``, ``deg F`` and ``degrees Fahrenheit`` come out alike, as do ``mg/L``, ``mg L-1`` and ``milligrams per litre``.
Must not do: decide what a label means for a quantity (``units.py``), or change letters' case, which may carry meaning.
"""

from __future__ import annotations

import re
import unicodedata

LONGEST = 64
"""Longer than any unit; nothing beyond is read."""

_SIGNS = str.maketrans({
    "º": "°", "˚": "°", "∘": "°", "ᵒ": "°", "µ": "u", "μ": "u", "Μ": "u", "−": "-", "–": "-", "‐": "-", "‑": "-",
    "·": ".", "⋅": ".", "∙": ".", "•": ".", "*": ".", "″": '"', "“": '"', "”": '"', "′": "'", "’": "'", "∕": "/",
    "⁄": "/",
})  # fmt: skip
"""Signs that look or mean the same; both micro signs and the capital Greek mu (what upper case makes of them)."""

_WORDS = tuple((re.compile(rf"(?<![A-Za-z])(?:{words})(?![A-Za-z])", re.IGNORECASE), short) for words, short in (
    (r"per[\s-]?cent|pct", "%"),
    (r"of\s+hg|(?:of\s+)?mercury", "Hg"),
    (r"per", "/"),
    (r"milli-?gram(?:me)?s?", "mg"), (r"micro-?gram(?:me)?s?|mcg", "ug"), (r"gram(?:me)?s?", "g"),
    (r"milli-?moles?", "mmol"), (r"micro-?moles?", "umol"), (r"moles?", "mol"),
    (r"milli-?equivalents?|mval", "meq"),
    (r"milli-?lit(?:er|re)s?", "mL"), (r"lit(?:er|re)s?", "L"),
    (r"milli-?siemens?", "mS"), (r"micro-?siemens?", "uS"), (r"deci-?siemens?", "dS"), (r"siemens?", "S"),
    (r"micro-?mhos?|umhos?", "uS"), (r"milli-?mhos?|mmhos?", "mS"), (r"mhos?", "S"),
    (r"hecto-?pascals?", "hPa"), (r"kilo-?pascals?", "kPa"), (r"pascals?", "Pa"),
    (r"milli-?bars?", "mbar"), (r"bars", "bar"), (r"atmospheres?", "atm"), (r"torrs", "torr"),
    (r"centi-?met(?:er|re)s?", "cm"), (r"milli-?met(?:er|re)s?", "mm"), (r"met(?:er|re)s?", "m"),
    (r"cubic m", "m3"), (r"inch(?:es)?", "in"), (r"foot|feet", "ft"), (r"gallons?|gals?\.?", "gal"),
    (r"grains?", "grain"),
    (r"minutes?|mins", "min"), (r"hours?|hrs?", "h"), (r"seconds?|secs?", "s"),
    (r"celsius|celcius|centigrade", "C"), (r"fahrenheit|farenheit", "F"), (r"kelvins?", "K"),
))  # fmt: skip
_DEGREE = re.compile(r"(?<![A-Za-z])deg(?:ree)?s?\.?[\s_]*", re.IGNORECASE)
_POWER = re.compile(r"[.^]?(cm|dm|min|m|l|h|s)(?:\^?\(?-1\)?)(?![0-9])", re.IGNORECASE)
_CUBIC = re.compile(r"[.]?(d?m)\^?\(?-3\)?", re.IGNORECASE)
_AT_25 = re.compile(r"(/c?m)[(,]?(?:@|at)?25(?:\.0)?°?c?\)?$", re.IGNORECASE)

_FORMS = (
    "nh3-n", "nh4+-n", "nh4-n", "no2--n", "no2-n", "no3--n", "no3-n", "nh3n", "nh4n", "no2n", "no3n", "nh3", "nh4+",
    "nh4", "no2-", "no2", "no3-", "no3", "tan", "caco3", "cao", "ca2+", "ca++", "ca", "hco3-", "hco3", "o2", "do", "n",
)  # fmt: skip
_FORM = "|".join(re.escape(form) for form in _FORMS)
_AMOUNT = re.compile(
    rf"([kmunµ]?(?:g|mol|eq))(?:[-({{]*({_FORM})[)}}]*)?/(l|dl|ml|dm3|cm3|m3)(?:(?:as|[-({{:,_])*({_FORM})[)}}]*)?",
    re.IGNORECASE,
)
_PARTS = re.compile(rf"\[?(pp[mb])\]?(?:(?:as|[-({{:,_])*({_FORM})[)}}]*)?", re.IGNORECASE)


def compact(label: str) -> str:
    """The label without spaces, in plain signs and short words; upper and lower case as they were."""
    text = unicodedata.normalize("NFKC", label[:LONGEST].translate(_SIGNS)).translate(_SIGNS)
    for pattern, short in _WORDS:
        text = pattern.sub(short, text)
    text = _DEGREE.sub("°", text)
    text = "".join(text.split()).replace("**", "^").replace("..", "^")
    text = _POWER.sub(r"/\1", text)
    text = _CUBIC.sub(r"/\g<1>3", text).replace("^3", "3").replace("//", "/")
    return _AT_25.sub(r"\1", text)


def amount(text: str) -> tuple[str, str] | None:
    """A compact label of a concentration as (amount per volume, form), both in lower case; None if it is none.

    ``mgNO3-N/L`` and ``mg/LasNO3-N`` both give ``("mg/l", "no3n")``; the form is empty where none is named.
    """
    whole = _AMOUNT.fullmatch(text)
    if whole:
        mass, before, volume, after = (part.lower() if part else "" for part in whole.groups())
        return None if before and after else (f"{mass}/{volume}", _plain(before or after))
    parts = _PARTS.fullmatch(text)
    return (parts[1].lower(), _plain(parts[2] or "")) if parts else None


def _plain(form: str) -> str:
    """A form without charge and hyphens."""
    return re.sub(r"[-+]|(?<=^ca)2", "", form.lower())
