"""SenML JSON (RFC 8428) in and out: one bad record spoils itself only, and nothing is taken for what it is not."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from api.domain.errors import InputError
from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from api.domain.senml import Refused, decode, encode

NOW_MS = 1_790_000_000_000
T, OX = Quantity.TEMPERATURE, Quantity.OXYGEN


def read(*records: Any) -> list[RawReading | Refused | None]:
    """A pack of records, read now."""
    return decode(json.dumps(list(records)).encode(), NOW_MS)


def reason(item: object) -> str:
    """Why a record was refused."""
    assert isinstance(item, Refused), item
    return item.reason


def test_base_values_of_a_pack() -> None:
    """The shape of RFC 8428 section 5.1.3 (from memory): base name, time and unit; relative times; the same day."""
    pack = read(
        {"bn": "urn:dev:ow:10e2/", "bt": 1.276020076e9, "bu": "Cel", "bver": 5, "n": "temperature", "v": 20.1},
        {"n": "temperature", "t": -5, "v": 20.2},
        {"n": "oxygen", "u": "mg/L", "t": -4, "v": 7.5},
    )
    assert pack == [
        RawReading("urn:dev:ow:10e2", T, 1_276_020_076_000, 20.1, "Cel"),
        RawReading("urn:dev:ow:10e2", T, 1_276_020_071_000, 20.2, "Cel"),
        RawReading("urn:dev:ow:10e2", OX, 1_276_020_072_000, 7.5, "mg/L"),
    ]


def test_small_times_are_relative_to_now() -> None:
    """RFC 8428 section 4.5.3: below 2^28 s a time is relative; no time is now."""
    pack = read(
        {"n": "p/temperature", "u": "Cel", "v": 1},
        {"n": "p/temperature", "u": "Cel", "v": 1, "t": -60},
        {"n": "p/temperature", "u": "Cel", "v": 1, "t": 2**28 - 1},
        {"n": "p/temperature", "u": "Cel", "v": 1, "t": 2**28},
    )
    times_ms = [item.time_ms for item in pack if isinstance(item, RawReading)]
    assert times_ms == [NOW_MS, NOW_MS - 60_000, NOW_MS + (2**28 - 1) * 1000, 2**28 * 1000]


def test_base_value_is_added_and_a_record_of_base_values_is_no_reading() -> None:
    """RFC 8428 section 4.5.2."""
    pack = read({"bn": "p/", "bt": 1.7e9, "bv": 20}, {"n": "temperature", "u": "Cel", "v": 1.5})
    assert pack == [None, RawReading("p", T, 1_700_000_000_000, 21.5, "Cel")]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"v": True}, "'v' is true, not a number"),
        ({"v": "25"}, "not a number"),
        ({"v": None}, "not a number"),
        ({"v": [[[1]]]}, "'v' is a list or an object, not a number"),
        ({"v": float("nan")}, "not a finite number"),
        ({"v": float("inf")}, "not a finite number"),
        ({"v": 10**400}, "too large"),
        ({"t": "noon"}, "'t' is"),
        ({"t": 1e308}, "is not a time"),
        ({"t": -1e308}, "is not a time"),
        ({"t": 1e300}, "is not a time"),
        ({"n": 5}, "'n' is 5, not text"),
        ({"n": "temperature"}, "probe id '' is not usable"),
        ({"n": "p/warmth"}, "quantities: temperature, oxygen"),
        ({"n": "../etc/temperature"}, "is not usable"),
        ({"n": "\ud800/temperature"}, "is not usable"),
        ({"u": ""}, "has no unit"),
        ({"u": 5}, "not text"),
        ({"u": "m" * 33}, "too long"),
        ({"u": "\ud800"}, "not text"),
        ({"u": "Cel\x00"}, "not text"),
        ({"future_": 1}, "'future_' must be understood"),
    ],
)
def test_one_bad_record_among_good(change: dict[str, Any], words: str) -> None:
    """It is refused with its place and a reason; the others are read."""
    good = {"n": "p/temperature", "u": "Cel", "v": 25.5, "t": 1.7e9}
    pack = read(good, {**good, **change}, good)
    assert words in reason(pack[1])
    assert isinstance(pack[1], Refused)
    assert pack[1].index == 1
    assert pack[0] == pack[2] == RawReading("p", T, 1_700_000_000_000, 25.5, "Cel")


def test_records_without_a_number_say_so() -> None:
    """Text, boolean and data values are SenML but no readings of ours; a label we need not understand is let be."""
    pack = read(
        {"n": "p/temperature", "u": "Cel", "vs": "warm"},
        {"n": "p/temperature", "u": "Cel", "vb": True},
        {"n": "p/temperature", "u": "Cel"},
        7,
        {"n": "p/temperature", "u": "Cel", "v": 1, "colour": "red"},
    )
    assert [reason(item).endswith("has no numeric value ('v')") for item in pack[:3]] == [True, True, True]
    assert reason(pack[3]) == "the record is not a JSON object"
    assert isinstance(pack[4], RawReading)


@pytest.mark.parametrize("base", [{"bt": "x"}, {"bt": 10**400}, {"bn": 5}, {"bu": []}, {"bver": 11}])
def test_a_base_value_that_cannot_be_used_spoils_what_leans_on_it(base: dict[str, Any]) -> None:
    """A reading is refused rather than given a time, name or unit that its sender did not mean."""
    pack = read(
        {"bn": "p/", "bt": 1.7e9, "bu": "Cel", **base, "n": "temperature", "v": 1},
        {"n": "temperature", "v": 2, "t": 5},
        {"bn": "p/", "bt": 1.7e9, "bu": "Cel", "bver": 10, "n": "temperature", "v": 3},
    )
    assert reason(pack[0]) == reason(pack[1])
    assert pack[2] == RawReading("p", T, 1_700_000_000_000, 3.0, "Cel")


def test_a_refused_record_still_sets_its_base() -> None:
    """Its base values are meant for those after it."""
    pack = read(
        {"bn": "p/", "bt": 1.7e9, "bu": "Cel", "n": "temperature", "v": "ERR"},
        {"bn": "q/", "must_": 1, "n": "temperature", "v": 1},
        {"n": "temperature", "v": 2},
    )
    assert pack[2] == RawReading("q", T, 1_700_000_000_000, 2.0, "Cel")


@pytest.mark.parametrize("body", [b"", b"{}", b"[]", b"5", b"null", b"\xff", b"[" * 100_000, b"[" + b"9" * 5000 + b"]"])
def test_not_a_pack_at_all(body: bytes) -> None:
    """Told for the whole body."""
    with pytest.raises(InputError):
        decode(body, NOW_MS)


readings = st.builds(
    RawReading,
    st.from_regex(r"[A-Za-z0-9][A-Za-z0-9_.:-]{0,63}", fullmatch=True),
    st.sampled_from(Quantity),
    st.integers(2**28 * 1000, 2**40 * 1000 - 1000),
    st.floats(allow_nan=False, allow_infinity=False),
    st.sampled_from(["Cel", "[degF]", "mg/L", "µmol/L", "%"]),
)


@settings(deadline=None)
@given(st.lists(readings, min_size=1, max_size=20))
def test_there_and_back(pack: list[RawReading]) -> None:
    """What is written is read again, to the last bit and millisecond."""
    assert decode(encode(pack), NOW_MS) == pack


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=3), inner, max_size=3),
    max_leaves=5,
)
labels = st.sampled_from(["bn", "bt", "bu", "bv", "bver", "n", "u", "v", "t", "vs", "x_", "x"])
likely = st.sampled_from(["p/temperature", "p/", "temperature", "Cel", 1.7e9, -5, 1e308, 20.5])


@settings(deadline=None)
@given(st.lists(st.dictionaries(labels, likely | json_values, max_size=6) | json_values, min_size=1, max_size=6))
def test_whatever_comes_each_record_has_an_answer(records: list[Any]) -> None:
    """One item a record, in order, and never another kind of failure."""
    out = read(*records)
    assert len(out) == len(records)
    assert [item.index for item in out if isinstance(item, Refused)] == [
        place for place, item in enumerate(out) if isinstance(item, Refused)
    ]
