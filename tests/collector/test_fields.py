"""One line to values, or to the reason in plain words why it has none."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.domain.quantity import Quantity
from api.domain.tank import Value
from collector.codecs.fields import FieldLayout
from collector.codecs.numbers import number
from collector.codecs.times import any_time_ms, time_ms

T, DO = Quantity.TEMPERATURE, Quantity.OXYGEN
BY_PLACE = FieldLayout((Value(T, "Cel"), Value(DO, "mg/L")))
BY_FIELD = FieldLayout((Value(T, "Cel", field=3), Value(DO, "mg/L", field=1)), separator=";")
BY_KEY = FieldLayout((Value(T, "Cel", key="T"), Value(DO, "mg/L", key="DO")), separator=";")
WANTED = ((T, "Cel", 24.31), (DO, "mg/L", 7.82))


@pytest.mark.parametrize(
    ("layout", "line"),
    [
        (BY_PLACE, "24.31,7.82"),
        (BY_PLACE, " 24.31 , 7.82 ,OK"),
        (BY_FIELD, "7.82;x;24.31"),
        (BY_KEY, "T=24.31;DO=7.82"),
        (BY_KEY, "DO: 7.82 T: 24.31"),
        (BY_KEY, "#7 T=24.31,DO=7.82|ok"),
        (FieldLayout(BY_PLACE.values, separator=" "), "24.31    7.82"),
        (FieldLayout(BY_PLACE.values, separator=";", decimal=","), "24,31;7,82"),
        (FieldLayout(BY_KEY.values, separator=";", decimal=","), "T=24,31;DO=7,82"),
        (
            FieldLayout(BY_PLACE.values, pattern=re.compile(r"(?P<temperature>[\d.]+)C (?P<oxygen>[\d.]+)mg")),
            "a1 24.31C 7.82mg",
        ),
    ],
)
def test_values_are_found_where_the_room_file_says(layout: FieldLayout, line: str) -> None:
    """By place, by field, by key, by pattern; with a decimal point or comma."""
    decoded = layout.decode(line)
    assert sorted(decoded.values) == sorted(WANTED)
    assert decoded.problems == ()


@pytest.mark.parametrize(
    "text", ["NaN", "nan", "Inf", "-inf", "ERR", "", "--", "1_000", "0x18", "24.31C", "1e999", "٣"]
)
def test_what_is_no_number_never_becomes_a_reading(text: str) -> None:
    """The other value of the line is not lost with it, and the reason names the quantity."""
    decoded = BY_PLACE.decode(f"{text},7.82")
    assert decoded.values == ((DO, "mg/L", 7.82),)
    assert len(decoded.problems) == 1
    assert decoded.problems[0].startswith("temperature: ")


@pytest.mark.parametrize(
    ("layout", "line", "words"),
    [
        (BY_PLACE, "24.31", "field 2 is not there, the line has 1"),
        (BY_PLACE, "24.31,7.8224.30,7.80", "'7.8224.30' is not a number"),
        (BY_KEY, "T=24.31", "'DO' is not there"),
        (BY_KEY, "T=24.3 T=24.31;DO=7.82", "'T' stands 2 times"),
        (BY_KEY, "T=24.T=24.31;DO=7.82", "'24.T=24.31' is not a number"),
        (BY_KEY, "XT=24.31;DO=7.82", "'T' is not there"),
        (BY_KEY, "T=;DO=7.82", "nothing stands there"),
        (FieldLayout(BY_PLACE.values, fields=2), "24.31,7.82,24.30", "has 3 fields, not 2"),
        (FieldLayout(BY_PLACE.values, pattern=re.compile("(?P<temperature>x)(?P<oxygen>y)")), "z", "does not match"),
    ],
)
def test_halved_and_glued_lines_are_told_apart_from_readings(layout: FieldLayout, line: str, words: str) -> None:
    """Each with a reason a person can act on."""
    assert words in "; ".join(layout.decode(line).problems)


# RFC 3339 section 5.8 gives these two as the same instant in different zones; the third is its Unix time.
# The millisecond figures were computed with `date -u -d ... +%s`.
@pytest.mark.parametrize(
    ("text", "style", "expected_ms"),
    [
        ("1996-12-19T16:39:57-08:00", "rfc3339", 851042397000),
        ("1996-12-20T00:39:57Z", "rfc3339", 851042397000),
        ("2031-05-04T03:10:00.250Z", "rfc3339", 1935630600250),
        ("851042397", "unix", 851042397000),
        ("851042397.5", "unix", 851042397500),
        ("851042397123", "unix_ms", 851042397123),
    ],
)
def test_times_as_probes_write_them(text: str, style: str, expected_ms: int) -> None:
    """To whole milliseconds UTC."""
    assert time_ms(text, style) == expected_ms


@pytest.mark.parametrize(
    ("text", "style", "words"),
    [
        ("2031-05-04T03:10:00", "rfc3339", "names no zone"),
        ("0", "unix", "is the probe's clock set?"),
        ("851042397123", "unix", "is not between"),
        ("yesterday", "rfc3339", "is not like"),
        ("NaN", "unix", "is not a number"),
        ("0001-01-01T00:00:00+23:59", "rfc3339", "time"),
    ],
)
def test_times_that_cannot_be_true_are_refused(text: str, style: str, words: str) -> None:
    """A wrong time would file a reading where nobody looks for it."""
    with pytest.raises(ValueError, match=re.escape(words)):
        time_ms(text, style)


def test_a_file_may_hold_either_kind_of_time() -> None:
    """Told apart by their shape."""
    assert any_time_ms("1996-12-20T00:39:57Z") == any_time_ms("851042397") == 851042397000


def test_a_line_can_carry_its_own_time_by_field_or_key() -> None:
    """And is unreadable as a whole when that time is."""
    by_field = FieldLayout(BY_FIELD.values, separator=";", time_field=2, time_format="unix")
    assert by_field.decode("7.82;851042397;24.31").time_ms == 851042397000
    assert by_field.decode("7.82;0;24.31").values == ()
    by_key = FieldLayout(BY_KEY.values, separator=";", time_key="AT")
    assert by_key.decode("AT=1996-12-20T00:39:57Z;T=24.31;DO=7.82").time_ms == 851042397000


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_every_number_a_probe_may_write_is_read_as_written(value: float) -> None:
    """Python's shortest form and back."""
    assert number(repr(value)) == value


@given(st.text(max_size=60))
def test_no_line_raises_and_nothing_unreadable_becomes_a_value(line: str) -> None:
    """Whatever a probe says, each wanted value is either there or explained."""
    for layout in (BY_PLACE, BY_FIELD, BY_KEY):
        decoded = layout.decode(line)
        assert len(decoded.values) + len(decoded.problems) == 2
