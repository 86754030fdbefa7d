"""Times beside other readers of times: zoneinfo, datetime, a spreadsheet library; numbers beside Python's own."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl
import pytest
from openpyxl.utils.datetime import CALENDAR_MAC_1904, from_excel

from api.domain.errors import InputError
from api.intake.numbers import number, read_numbers
from api.intake.time_text import day_ms, said
from api.intake.times import read_numbers as read_serial
from api.intake.times import read_texts, usual_format
from api.intake.zones import check_zone, fixed_offset_ms, meant

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
FORMATS = {
    "%Y-%m-%d %H:%M:%S": "ymd", "%Y/%m/%dT%H:%M": "ymd", "%d.%m.%Y %H:%M": "dmy", "%m/%d/%Y %I:%M:%S %p": "mdy",
    "%d-%b-%Y %H:%M": "", "%Y-%m-%d %H:%M:%S.%f": "ymd", "%d/%m/%y %I:%M%p": "dmy", "%Y%m%d%H%M%S": "ymd",
    "%a %d %b %Y %H:%M": "", "%b %d, %Y %H:%M": "",
}  # fmt: skip


@pytest.mark.parametrize("zone", ["America/Denver", "Europe/Berlin", "Australia/Lord_Howe", "Africa/Casablanca"])
def test_local_times_mean_what_zoneinfo_says(zone: str) -> None:
    """Every 47 minutes of three years, with half-hour and backward daylight saving; reference: PEP 495's fold."""
    start = datetime(2022, 1, 1, tzinfo=UTC)
    local = np.arange(0, 3 * 365 * 1440, 47, dtype=np.int64) * 60_000 + (start - EPOCH) // timedelta(milliseconds=1)
    found = meant(local, zone)
    rules, told = ZoneInfo(zone), [EPOCH + timedelta(milliseconds=one) for one in local.tolist()]
    first, second = ([one.replace(tzinfo=rules, fold=fold).astimezone(UTC) for one in told] for fold in (0, 1))
    back = [one.astimezone(rules).replace(tzinfo=UTC) for one in first]
    there = np.array([one == other for one, other in zip(back, told, strict=True)])
    np.testing.assert_array_equal(~found.missing, there)
    for ms, times in ((found.earlier_ms, first), (found.later_ms, second)):
        np.testing.assert_array_equal(ms[there], _ms(times)[there])
    np.testing.assert_array_equal(found.doubled[there], (_ms(first) != _ms(second))[there])
    assert found.missing.any()
    assert found.doubled.any()


def _ms(times: list[datetime]) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    return np.array([(one - EPOCH) // timedelta(milliseconds=1) for one in times], np.int64)


@pytest.mark.parametrize("written", FORMATS)
def test_a_column_of_times_is_read_as_it_was_written(written: str) -> None:
    """Reference: strftime of the standard library, over days, hours and both halves of the day."""
    times = [datetime(2019, 12, 25, 23, 58, tzinfo=UTC) + timedelta(hours=7 * at, minutes=at) for at in range(900)]
    texts = pl.Series([one.strftime(written) for one in times])
    found = read_texts(texts, FORMATS[written], {})
    assert found.bad == {}
    np.testing.assert_array_equal(found.ms, _ms(times))


def test_the_fast_way_and_the_slow_way_agree() -> None:
    """Whatever compiled code takes, the one-by-one reader reads alike; what only one takes is refused by both."""
    texts = [
        "1/2/2024 10:00",
        "13/2/2024 10:00",
        "31/4/2024 09:59",
        "29/2/2023 00:00",
        "1/1/2024 23:59",
        "01/02/24 10:00",
    ]
    found = read_texts(pl.Series(texts), "dmy", {})
    for at, text in enumerate(texts):
        one = said(text)
        assert one is not None
        assert one.date is not None
        day = day_ms(one.date, "dmy")
        assert (day is None) == (at in found.bad)
        if day is not None:
            assert found.ms[at] == day + (one.clock_ms or 0)
    assert usual_format("1/2/2024 10:00", "") is None, "an order nobody proved is not used"


def test_spreadsheet_days_are_the_spreadsheet_librarys() -> None:
    """Both date systems, beside openpyxl; its 1900 system leaves out the leap day that never was, too."""
    days = np.array([36526.0, 45352.4166666667, 45352.71527777778, 60000.999988425926])
    for how, told in (("serial", [from_excel(one) for one in days]),
                      ("serial_1904", [from_excel(one, epoch=CALENDAR_MAC_1904) for one in days])):  # fmt: skip
        expected = _ms([one.replace(tzinfo=UTC) for one in told])
        assert np.abs(read_serial(days, how).ms - expected).max() <= 1, "openpyxl rounds to microseconds"


def test_fixed_offsets_and_zones_nobody_knows() -> None:
    """ISO 8601 offsets; a typing error is told with what would do."""
    assert [fixed_offset_ms(one) for one in ("UTC", "Z", "+02:00", "-0530", "UTC-7")] == [0, 0, 7.2e6, -19.8e6, -25.2e6]
    assert fixed_offset_ms("Europe/Berlin") is None
    with pytest.raises(InputError, match="there is no zone 'Berlin'"):
        check_zone("Berlin")


def test_numbers_are_pythons() -> None:
    """Shortest decimal forms of many doubles come back to the bit; reference: repr and float."""
    values = np.random.default_rng(7).normal(20, 5, 5000)
    np.testing.assert_array_equal(read_numbers(pl.Series([repr(float(one)) for one in values])).values, values)
    comma = pl.Series([repr(float(one)).replace(".", ",") for one in values])
    np.testing.assert_array_equal(read_numbers(comma, ",").values, values)


@pytest.mark.parametrize(
    ("text", "decimal", "grouped"),
    [("1,234", ".", False), ("1.234", ",", False), ("12,34", ".", True), ("1,23,456", ".", True), ("1_000", ".", False),
     ("0x10", ".", False), ("1 234", ".", False), ("--5", ".", False), ("5-", ".", False), ("1e", ".", False)],
)  # fmt: skip
def test_a_text_that_could_be_two_numbers_is_none(text: str, decimal: str, grouped: bool) -> None:
    """Refused with its reason, never read one way or the other."""
    value, _, why = number(text, decimal, grouped)
    assert value != value
    assert why


def test_what_compiled_code_takes_too_easily_is_looked_at_twice() -> None:
    """Its reader passes over a missing blank and over digits in a neighbour's place; ours takes the same texts alone.

    Random slips in each spelling, the first text whole so that compiled code is tried.
    """
    rng, signs = np.random.default_rng(3), list(" 0123456789:-/.TZ")
    for written, order in (("%Y-%m-%d %H:%M:%S", "ymd"), ("%m/%d/%Y %I:%M:%S %p", "mdy"), ("%Y%m%d%H%M%S", "ymd")):
        start = datetime(2024, 10, 20, 3, 0, 5, tzinfo=UTC).strftime(written)
        texts = [start]
        for _ in range(400):
            at = int(rng.integers(len(start)))
            texts.append(
                start[:at] + str(rng.choice(signs)) * int(rng.integers(2)) + start[at + int(rng.integers(2)) :]
            )
        alone = [read_texts(pl.Series([text]), order, {}) for text in texts]
        together = read_texts(pl.Series(texts), order, {})
        for at, one in enumerate(alone):
            assert (at in together.bad) == (0 in one.bad), texts[at]
            assert at in together.bad or together.ms[at] == one.ms[0], texts[at]
