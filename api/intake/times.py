"""A column of times to whole milliseconds: the usual spellings by compiled code, each rarer text once by itself.

Must not do: choose an order of day and month, or apply a zone (``zones.py``).
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

import numpy as np
import polars as pl
from numpy.typing import NDArray

from api.intake.errors import shown
from api.intake.time_text import day_ms, said

EPOCH_S = (631_152_000.0, 7_258_118_400.0)
"""1990 to 2200 in seconds since 1970; a thousand times as much in milliseconds."""
SERIAL = (32_874.0, 109_575.0)
"""1990 to 2200 in a spreadsheet's days."""
SERIAL_1970 = 25_569
"""1970-01-01 in days of the 1900 date system, right from March 1900 on (ECMA-376 part 1, 18.17.4.1)."""
SERIAL_1904 = 24_107
"""1970-01-01 in days of the 1904 date system."""
POSIX_MS = 3_124_224_000_000
"""2069: two-digit years from 69 on lie before 2000."""
LOW_MS, HIGH_MS = -2_208_988_800_000, 7_258_118_400_000
ORDER_WORDS = {"dmy": "day, month, year", "mdy": "month, day, year", "ymd": "year, month, day"}
_USUAL = re.compile(
    r"(?:(?P<ymd>\d{4})(?P<s1>[-/.])\d{1,2}(?P=s1)\d{1,2}|(?P<first>\d{1,2})(?P<s2>[-/.])\d{1,2}(?P=s2)(?P<last>\d{4}|\d{2})"
    r"|\d{1,2}(?P<s3>[- ])[A-Za-z]{3,9}(?P=s3)(?P<named>\d{4})|\d{8}(?P<s4>[T ]?)\d{4}(?P<s5>\d{2})?(?P<z4>Z)?)"
    r"(?:(?P<gap>[T ])\d{1,2}:\d{2}(?P<second>:\d{2})?(?P<dot>\.\d{1,6})?(?P<half> ?[AaPp][Mm])?"
    r"(?P<zone>Z|[+-]\d{2}:\d{2})?)?"
)


_PARTS = re.compile(r"%\.f|%[A-Za-z]|[^%]")
_SHAPES = {
    "%Y": r"\d{4}", "%y": r"\d{2}", "%m": r"\d{1,2}", "%d": r"\d{1,2}", "%B": "[A-Za-z]{3,9}", "%H": r"\d{1,2}",
    "%I": r"\d{1,2}", "%M": r"\d{1,2}", "%S": r"\d{1,2}", "%.f": r"(\.\d{1,9})?", "%p": "[AaPp][Mm]",
}  # fmt: skip
_WIDTHS = {"%Y": 4} | dict.fromkeys("-/. T:", 1)


@dataclass(slots=True)
class Times:
    """``ms`` since 1970, UTC where ``aware``, else by the clock on the wall; meaningless where ``bad`` says why."""

    ms: NDArray[np.int64]
    aware: NDArray[np.bool_]
    bad: dict[int, str] = field(default_factory=dict)


def usual_format(text: str, order: str) -> tuple[str, int] | None:
    """The format of a usual spelling, and how many letters of zone stand behind it; None for others."""
    found = _USUAL.fullmatch(text)
    if found is None or (found["dot"] and not found["second"]):
        return None
    if found["ymd"]:
        day = "%Y{0}%m{0}%d".format(found["s1"])
    elif found["named"]:
        day = "%d{0}%B{0}%Y".format(found["s3"])
    elif found["s4"] is not None:
        day = f"%Y%m%d{found['s4']}%H%M" + ("%S" if found["s5"] else "")
    elif order:
        year = "%Y" if len(found["last"]) == 4 else "%y"
        if year == "%Y" and order == "ymd":
            return None
        day = found["s2"].join({"y": year, "m": "%m", "d": "%d"}[letter] for letter in order)
    else:
        return None
    half = found["half"] or ""
    clock = f"{found['gap']}{'%I' if half else '%H'}:%M" if found["gap"] else ""
    clock += ":%S" if found["second"] else ""
    clock += "%.f" if found["dot"] else ""
    return day + clock + (" %p" if half[:1] == " " else "%p" if half else ""), len(found["zone"] or found["z4"] or "")


def read_texts(texts: pl.Series, order: str, marks: dict[str, int]) -> Times:
    """Times from text; ``marks`` are minutes east of zone letters that have several meanings."""
    count = len(texts)
    out = Times(np.zeros(count, np.int64), np.zeros(count, np.bool_))
    left = np.ones(count, np.bool_)
    for _ in range(4):
        at = int(np.argmax(left)) if left.any() else -1
        known = usual_format(texts[at] or "", order) if at >= 0 else None
        if known is None or not _usual(texts, known, left, out):
            break
    rest = np.flatnonzero(left)
    if len(rest):
        _one_by_one(texts.gather(rest), rest, order, marks, out)
    return out


def _usual(texts: pl.Series, known: tuple[str, int], left: NDArray[np.bool_], out: Times) -> bool:
    """Take what fits one spelling out of what is left; false when nothing did."""
    spelling, zone = known
    every = bool(left.all())
    part = texts if every else texts.filter(pl.Series(left))
    text = part.str.head(-zone) if zone else part
    read = text.str.to_datetime(spelling, time_unit="ms", strict=False, cache=False)
    physical = read.to_physical()
    ms = (physical.fill_null(LOW_MS - 1) if physical.null_count() else physical).to_numpy()
    good = (ms >= LOW_MS) & (ms <= HIGH_MS) & _in_shape(text, spelling)
    if "%y" in spelling:
        good &= ms < POSIX_MS
    if zone:
        offset_ms, has = _offsets(part.str.tail(zone))
        ms, good = ms - offset_ms, good & has
    elif not good.any():
        return False
    if every and good.all():
        out.ms, left[:] = ms, False
        out.aware[:] = zone > 0
        return True
    where = np.flatnonzero(left)[good] if not every else np.flatnonzero(good)
    out.ms[where], out.aware[where] = ms[good], zone > 0
    left[where] = False
    return bool(good.any())


def _in_shape(texts: pl.Series, spelling: str) -> NDArray[np.bool_]:
    """Which texts are written as the format says, as its reader also takes some that lack a gap or a digit."""
    whole = "".join(_SHAPES.get(part) or re.escape(part) for part in _PARTS.findall(spelling))
    if "%Y%m" in spelling:
        whole = whole.replace("{1,2}", "{2}")
    elif not ("%B" in spelling or "%.f" in spelling):
        # Of full length and with signs between, no digit can have slipped into its neighbour's place.
        full = texts.str.len_bytes() == sum(_WIDTHS.get(part, 2) for part in _PARTS.findall(spelling))
        if full.null_count() == 0 and full.all():
            return full.to_numpy()
    return texts.str.contains(f"^{whole}$").fill_null(False).to_numpy()


def _offsets(zones: pl.Series) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Offsets that stand behind times, and which are offsets."""
    whole = re.compile(r"([+-])(\d{2}):(\d{2})")
    known: dict[str, int] = {}
    for text in zones.drop_nulls().unique():
        found = whole.fullmatch(text)
        if found and int(found[2]) <= 18:
            known[text] = (1 if found[1] == "+" else -1) * (int(found[2]) * 60 + int(found[3])) * 60_000
        elif text == "Z":
            known[text] = 0
    if len(known) == 1 and zones.n_unique() == 1:
        return np.full(len(zones), next(iter(known.values())), np.int64), np.ones(len(zones), np.bool_)
    offsets = zones.replace_strict(list(known), list(known.values()), default=None, return_dtype=pl.Int64)
    return offsets.fill_null(0).to_numpy(), offsets.is_not_null().to_numpy()


def _one_by_one(texts: pl.Series, rows: NDArray[np.int64], order: str, marks: dict[str, int], out: Times) -> None:
    """Each different text once."""
    known: dict[str | None, tuple[int, bool, str]] = {}
    for row, text in zip(rows.tolist(), texts.to_list(), strict=True):
        if text not in known:
            known[text] = _one(text or "", order, marks)
        ms, aware, why = known[text]
        if why:
            out.bad[row] = why
        else:
            out.ms[row], out.aware[row] = ms, aware


def _one(text: str, order: str, marks: dict[str, int]) -> tuple[int, bool, str]:
    found = said(text)
    if not text.strip():
        return 0, False, "it has no time"
    if found is None:
        return 0, False, f"{shown(text)} is no time"
    if found.date is None or found.clock_ms is None:
        return 0, False, f"{shown(text)} lacks {'a date' if found.date is None else 'a clock time'}"
    if found.mark and found.mark not in marks:
        return 0, False, f"{shown(text)}: the zone {found.mark} has several meanings and none was told"
    use = found.orders[0] if len(found.orders) == 1 else order
    if use not in found.orders:
        return 0, False, f"{shown(text)}: day and month cannot be told apart"
    day = day_ms(found.date, use)
    if day is None:
        return 0, False, f"{shown(text)}: there is no such day when it is read as {ORDER_WORDS[use]}"
    offset = marks[found.mark] if found.mark else found.offset_min
    return day + found.clock_ms - (offset or 0) * 60_000, offset is not None, ""


def read_numbers(numbers: NDArray[np.float64], how: str) -> Times:
    """Times from numbers: ``epoch_s``, ``epoch_ms``, ``serial`` (1900 date system) or ``serial_1904``."""
    scale, zero, limits = {
        "epoch_s": (1000.0, 0.0, EPOCH_S),
        "epoch_ms": (1.0, 0.0, (EPOCH_S[0] * 1000, EPOCH_S[1] * 1000)),
        "serial": (86_400_000.0, float(SERIAL_1970), SERIAL),
        "serial_1904": (86_400_000.0, float(SERIAL_1904), (SERIAL[0] - 1462, SERIAL[1])),
    }[how]
    good = np.isfinite(numbers) & (numbers >= limits[0]) & (numbers <= limits[1])
    ms = np.rint((np.where(good, numbers, zero) - zero) * scale).astype(np.int64)
    bad = {int(at): f"{numbers[at]:.15g} is no time between 1990 and 2200" for at in np.flatnonzero(~good)}
    return Times(ms, np.full(len(numbers), how.startswith("epoch")), bad)
