"""The words of a reading's checks: which tests made its flag, told so that a keeper knows what to look at.

Pure; live readings and whole series are told by the same function. Must not do: test anything.
"""

from __future__ import annotations

from dataclasses import dataclass

from api.domain.checks import CheckLimits
from api.domain.quantity import MEANING, Quantity
from api.domain.reading import Flag
from api.domain.words import duration
from api.judge.check_swaps import looks_swapped

GOOD, UNKNOWN, SUSPECT, FAIL, MISSING = (int(flag) for flag in Flag)
FLAGS = {int(flag): flag for flag in Flag}
HOUR_MS = 3_600_000.0
NEWEST = "too new: a spike can be told only by the next reading"
OUT_OF_ORDER = "came after a newer reading: only its range was checked"
NAMES = {
    "spike": "spike",
    "rate": "rate of change",
    "flat": "flat line",
    "attenuated": "attenuated signal",
    "company": "rate without company",
}


@dataclass(slots=True)
class Findings:
    """What the tests found of one reading, and the numbers they found it by. Flags are 0 where a test did not run.

    ``before`` and ``after`` are the believable readings next to it (None: none near enough in time, or not yet come).
    """

    time_ms: int
    value: float | None
    base: int = GOOD
    base_reason: str = ""
    gross: int = 0
    late: bool = False
    silence_ms: int | None = None
    gap: int = 0
    spike: int = 0
    rate: int = 0
    flat: int = 0
    attenuated: int = 0
    company: int = 0
    waiting: bool = False
    before_ms: int = 0
    before: float | None = None
    after: float | None = None
    run_ms: int = 0
    extent: float = 0.0

    @property
    def flag(self) -> int:
        """The worst of all."""
        if self.value is None:
            return self.base if self.base in (FAIL, MISSING) else MISSING
        tests = (self.gap, self.spike, self.rate, self.flat, self.attenuated, self.company)
        return max(self.base, self.gross, UNKNOWN if self.late else 0, UNKNOWN if self.waiting else 0, *tests)


def tell(limits: CheckLimits, quantity: Quantity, found: Findings) -> tuple[Flag, str]:
    """The final flag and its reasons: those of the worst tests only, empty when the reading is good."""
    flag = found.flag
    if flag == GOOD:
        return Flag.GOOD, ""
    if found.value is None:
        return FLAGS[flag], found.base_reason or "no value"
    parts = [found.base_reason or _base_words(flag)] if found.base == flag else []
    if flag == UNKNOWN:
        parts += _unknown(quantity, found)
    else:
        words = (_gross, _spike, _rate, _flat, _attenuated, _company)
        tests = (found.gross, found.spike, found.rate, found.flat, found.attenuated, found.company)
        parts += [word(limits, quantity, found) for word, test in zip(words, tests, strict=True) if test == flag]
        swapped = _swapped(quantity, found)
        parts += [swapped] if swapped else []
    return FLAGS[flag], "; ".join(parts)


def _base_words(flag: int) -> str:
    return {UNKNOWN: "not evaluated before its checks", SUSPECT: "suspect before its checks"}.get(flag, "failed")


def _unknown(quantity: Quantity, found: Findings) -> list[str]:
    parts = [f"no span is known for {MEANING[quantity].label}"] if found.gross == UNKNOWN else []
    if found.late:
        return [*parts, OUT_OF_ORDER]
    if found.gap == UNKNOWN:
        silence = found.silence_ms
        parts.append(
            "first reading" if silence is None else f"first reading after {duration(silence / 1000)} of silence"
        )
    lonely = found.company == UNKNOWN and found.before is not None
    alone = ("spike", "rate") if lonely else ("spike", "rate", "company")
    unlike = [NAMES[test] for test in alone if getattr(found, test) == UNKNOWN]
    if unlike:
        parts.append(f"no reading near enough in time to check: {', '.join(unlike)}")
    short = [NAMES[test] for test in ("flat", "attenuated") if getattr(found, test) == UNKNOWN]
    if short:
        parts.append(f"too little past yet to check: {', '.join(short)}")
    if lonely:
        parts.append(
            f"{_moved(quantity, found)}, and the probe beside it has not spoken since to say whether water did"
        )
    if found.waiting:
        parts.append(NEWEST)
    return parts


def gross_of(limits: CheckLimits, value: float) -> int:
    """Flag of one value by its spans; bounds belong inside."""
    spans = ((limits.fail_low, limits.fail_high, FAIL), (limits.suspect_low, limits.suspect_high, SUSPECT))
    for low, high, flag in spans:
        if (low is not None and value < low) or (high is not None and value > high):
            return flag
    return UNKNOWN if all(limit is None for low, high, _ in spans for limit in (low, high)) else GOOD


def gross_words(quantity: Quantity, value: float, limits: CheckLimits, *, failed: bool) -> str:
    """Why a value is outside a span."""
    unit = MEANING[quantity].unit_label
    low, high = (limits.fail_low, limits.fail_high) if failed else (limits.suspect_low, limits.suspect_high)
    span = " to ".join(f"{limit:g}" for limit in (low, high) if limit is not None)
    if low is None or high is None:
        span = f"{'from' if high is None else 'up to'} {span}"
    if failed:
        return f"{value:g} {unit} is beyond what a probe can read ({span})"
    return f"{value:g} {unit} is unlikely in a tank (usual: {span})"


def _gross(limits: CheckLimits, quantity: Quantity, found: Findings) -> str:
    return gross_words(quantity, found.value or 0.0, limits, failed=found.gross == FAIL)


def _spike(limits: CheckLimits, quantity: Quantity, found: Findings) -> str:
    off = spike_height(found.before or 0.0, found.value or 0.0, found.after or 0.0)
    limit = limits.spike_fail if found.spike == FAIL else limits.spike_suspect
    unit = MEANING[quantity].unit_label
    return f"stands {_short(off)} {unit} off the readings before and after it (more than {limit:g})"


def _rate(limits: CheckLimits, quantity: Quantity, found: Findings) -> str:
    per_h = (limits.rate_fail_per_h if found.rate == FAIL else limits.rate_suspect_per_h) or 0.0
    allowed = limits.noise + per_h * (found.time_ms - found.before_ms) / HOUR_MS
    return f"{_moved(quantity, found)}, more than {_short(allowed)}"


def _flat(limits: CheckLimits, quantity: Quantity, found: Findings) -> str:
    longest_s = limits.flat_longest_s
    run_s = found.run_ms / 1000
    lasting = duration(longest_s) + " or more" if run_s >= longest_s else duration(run_s)
    if limits.flat_tolerance:
        unit = MEANING[quantity].unit_label
        return f"has stayed within {limits.flat_tolerance:g} {unit} for {lasting}: is the probe stuck?"
    return f"has said exactly {found.value:.10g} for {lasting}: is the probe stuck?"


def _attenuated(limits: CheckLimits, quantity: Quantity, found: Findings) -> str:
    limit = limits.attenuated_fail if found.attenuated == FAIL else limits.attenuated_suspect
    unit = MEANING[quantity].unit_label
    window = duration(limits.attenuated_window_s or 0.0)
    return (
        f"has moved only {_short(found.extent)} {unit} in {window} (less than {limit:g}): is the probe fouled or stuck?"
    )


def _company(limits: CheckLimits, quantity: Quantity, found: Findings) -> str:
    return f"{_moved(quantity, found)} while the probe beside it stayed: is the probe out of the water?"


def _moved(quantity: Quantity, found: Findings) -> str:
    moved = abs((found.value or 0.0) - (found.before or 0.0))
    seconds = (found.time_ms - found.before_ms) / 1000
    lasting = f"{seconds:g} s" if seconds < 10 else duration(seconds)
    return f"jumped {_short(moved)} {MEANING[quantity].unit_label} in {lasting}"


def _swapped(quantity: Quantity, found: Findings) -> str:
    if found.before is None or found.value is None or max(found.gross, found.rate) < SUSPECT:
        return ""
    return looks_swapped(quantity, found.before, found.value)


def _short(amount: float) -> str:
    """Two digits that say something."""
    return f"{amount:.2g}" if amount < 10 else f"{amount:.0f}"


def spike_height(before: float, value: float, after: float) -> float:
    """How far a value stands off the middle of its neighbours (QARTOD test 6)."""
    return abs(value - (before + after) / 2)
