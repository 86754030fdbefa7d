"""Messages of probes: what is a number, a place, a time, and everything that only looks like one."""

from __future__ import annotations

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from api.domain.quantity import Quantity
from collector.codecs.json_pointer import tokens
from collector.codecs.payloads import Item, JsonForm, NumberForm, Place, SenmlForm

WATER = Quantity.TEMPERATURE
ONE = (Place(WATER, "Cel"),)
BOTH = (Place(WATER, "Cel", tokens("/water/t")), Place(Quantity.OXYGEN, "mg/L", tokens("/water/o2/0")))

NUMBERS = [
    (b"24.31", ".", 24.31),
    (b" 24.31 \r\n", ".", 24.31),
    (b" 24,31 ", ",", 24.31),
    (b"-0.5e1", ".", -5.0),
]


@pytest.mark.parametrize(("payload", "decimal", "value"), NUMBERS)
def test_a_bare_number(payload: bytes, decimal: str, value: float) -> None:
    """With spaces around it; with a comma only where one is expected."""
    assert NumberForm(decimal).read(payload, ONE).items == (Item(WATER, "Cel", value),)


NO_NUMBERS = [b"", b" ", b"24,31", b"24.31 Cel", b"NaN", b"Infinity", b"1e999", b"true", b"null", b"0x18", b"24.31\x00",
              b"\xff\xfe2", b"2 4", b"1_000", "٢٤".encode(), b"9" * 70_000, b"--1", b"[24.31]"]  # fmt: skip


@pytest.mark.parametrize("payload", NO_NUMBERS)
def test_what_is_no_number(payload: bytes) -> None:
    """One reason in plain words, and nothing read."""
    said = NumberForm().read(payload, ONE)
    assert said.items == ()
    assert len(said.problems) == 1
    assert 0 < len(said.problems[0]) < 200


def test_values_at_their_places() -> None:
    """Numbers, and numbers written as text."""
    said = JsonForm().read(b'{"water": {"t": 24.31, "o2": ["7.82"], "x": null}}', BOTH)
    assert said.items == (Item(WATER, "Cel", 24.31), Item(Quantity.OXYGEN, "mg/L", 7.82))
    assert said.problems == ()


def test_one_that_is_missing_does_not_hold_back_the_other() -> None:
    """It is named."""
    said = JsonForm().read(b'{"water": {"t": true, "o2": [7.82]}}', BOTH)
    assert said.items == (Item(Quantity.OXYGEN, "mg/L", 7.82),)
    assert said.problems == ("temperature at '/water/t': is true, not a number",)


TIMES = [
    ('"2031-05-04T03:10:00Z"', "rfc3339", 1_935_630_600_000),
    ("1935630600", "unix", 1_935_630_600_000),
    ("1935630600.25", "unix", 1_935_630_600_250),
    ('"1935630600"', "unix", 1_935_630_600_000),
    ("1935630600250", "unix_ms", 1_935_630_600_250),
]


@pytest.mark.parametrize(("text", "style", "time_ms"), TIMES)
def test_its_own_time(text: str, style: str, time_ms: int) -> None:
    """2031-05-04 03:10:00 UTC is 1935630600 s (GNU date)."""
    form = JsonForm(time_steps=("at",), time_format=style)
    said = form.read(f'{{"at": {text}, "t": 24.31}}'.encode(), (Place(WATER, "Cel", ("t",)),))
    assert said.items == (Item(WATER, "Cel", 24.31, time_ms),)


@pytest.mark.parametrize("text", ["true", "null", "[]", "{}", '"soon"', "0", "1e400", "-1", "1935630600", '""'])
def test_without_the_time_that_should_be_there_nothing_is_read(text: str) -> None:
    """A guessed time would be a false one; among these a number where RFC 3339 is expected."""
    form = JsonForm(time_steps=("at",))
    for payload in (f'{{"at": {text}, "t": 24.31}}', '{"t": 24.31}'):
        said = form.read(payload.encode(), (Place(WATER, "Cel", ("t",)),))
        assert said.items == ()
        assert len(said.problems) == 1


HOSTILE = [
    (b"[" * 60_000, "nested too deeply"),
    (b'{"a":' * 10_000 + b"1" + b"}" * 10_000, "nested too deeply"),
    (b'{"t": NaN}', "NaN is no JSON"),
    (b'{"t": -Infinity}', "-Infinity is no JSON"),
    (b'{"t": 1, "t": 2}', "a name stands twice"),
    (b'{"t": 1e999}', "too large a number"),
    (b'{"t": ' + b"9" * 400 + b"}", "too large a number"),
    (b'{"t": ' + b"9" * 60_000 + b"}", ""),
    (b'{"t": [1]}', "is a list, not a number"),
    (b'{"t": {"v": 1}}', "is an object, not a number"),
    (b'{"t": "24.31 Cel"}', "is not a number"),
    (b'{"t": ""}', "nothing stands there"),
    (b'{"t": "\\ud800"}', "is not a number"),
    (b'{"t": 24.31} x', "is no JSON"),
    (b'\xef\xbb\xbf{"t": 24.31}', "is no JSON"),
    ('{"t": 24.31}'.encode("utf-16"), "is no text"),
    (b'{"t": 24.31', "is no JSON"),
    (b"", "is no JSON"),
    (b"24.31", "'/t' is not there"),
    (b'{"T": 24.31}', "'/t' is not there"),
]


@pytest.mark.parametrize(("payload", "words"), HOSTILE, ids=range(len(HOSTILE)))
def test_hostile_documents(payload: bytes, words: str) -> None:
    """A reason of bounded length, never an error, never a value."""
    said = JsonForm().read(payload, (Place(WATER, "Cel", ("t",)),))
    assert said.items == ()
    assert len(said.problems) == 1
    assert words in said.problems[0]
    assert len(said.problems[0]) < 300


def test_a_pack_with_absolute_and_relative_times() -> None:
    """RFC 8428: a time below 2**28 is relative to now, none at all is now."""
    pack = [
        {"bn": "p1/", "n": "temperature", "u": "Cel", "v": 24.31, "t": 1935630600},
        {"n": "oxygen", "u": "mg/L", "v": 7.82, "t": -5},
        {"n": "temperature", "u": "K", "v": 297.46},
        {"n": "ph", "u": "pH", "v": 7.5},
        {"bn": "p2/", "n": "temperature", "u": "Cel", "v": 1.0},
        {"n": "temperature", "u": "Cel", "vb": True},
    ]
    said = SenmlForm("p1").read(json.dumps(pack).encode(), BOTH)
    assert said.items == (
        Item(WATER, "Cel", 24.31, 1_935_630_600_000),
        Item(Quantity.OXYGEN, "mg/L", 7.82, None, 5000),
        Item(WATER, "K", 297.46, None, 0),
    )
    assert [problem.split(":")[0] for problem in said.problems] == ["record 3", "record 4", "record 5"]
    assert "ph is no value of this probe" in said.problems[0]
    assert "is of probe 'p2', this is 'p1'" in said.problems[1]


@pytest.mark.parametrize("payload", [b"", b"{}", b"[]", b"null", b"[" * 60_000, b"\xff", b'[{"n":', b"24.31"])
def test_what_is_no_pack(payload: bytes) -> None:
    """One reason."""
    said = SenmlForm("p1").read(payload, BOTH)
    assert (said.items, len(said.problems)) == ((), 1)


FORMS = (NumberForm(), NumberForm(","), JsonForm(), JsonForm(time_steps=("at",)), SenmlForm("p1"))
JSON = st.recursive(
    st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=8)),
    lambda inner: st.one_of(
        st.lists(inner, max_size=4),
        st.dictionaries(st.sampled_from(["water", "t", "o2", "at", "n", "v", "u", "bn"]), inner, max_size=4),
    ),
    max_leaves=12,
)


@given(st.one_of(st.binary(max_size=80), JSON.map(lambda node: json.dumps(node).encode())))
@settings(max_examples=10_000, deadline=None)
def test_ten_thousand_random_messages(payload: bytes) -> None:
    """Every form reads numbers that are finite, or says why not."""
    for form in FORMS:
        said = form.read(payload, BOTH)
        assert said.items or said.problems or form is FORMS[4]
        for item in said.items:
            assert abs(item.value) < float("inf")


@given(JSON, st.floats(-50, 150))
@settings(max_examples=1000, deadline=None)
def test_a_value_is_what_stands_at_its_pointer(other: object, value: float) -> None:
    """Whatever stands around it; a bool never."""
    document = {"x": other, "water": {"t": value, "o2": [value > 0]}}
    said = JsonForm().read(json.dumps(document, allow_nan=False).encode() if _plain(other) else b"{}", BOTH)
    if _plain(other):
        assert said.items == (Item(WATER, "Cel", value),)
        assert len(said.problems) == 1


def _plain(node: object) -> bool:
    try:
        json.dumps(node, allow_nan=False)
    except ValueError:
        return False
    return True
