"""Registers to numbers: every order of bytes, what means no value, and which registers go in one request."""

from __future__ import annotations

from contextlib import suppress
from math import isfinite

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.codecs.registers import (
    EXCEPTIONS,
    FORMS,
    MOST_REGISTERS,
    Block,
    Register,
    blocks,
    exception_words,
    notation_hint,
    taken,
    written,
)


@pytest.mark.parametrize(
    ("word_order", "byte_order", "registers"),
    [
        ("high_first", "high_first", [0x42F6, 0xE979]),
        ("low_first", "high_first", [0xE979, 0x42F6]),
        ("high_first", "low_first", [0xF642, 0x79E9]),
        ("low_first", "low_first", [0x79E9, 0xF642]),
    ],
)
def test_the_four_orders_of_a_float(word_order: str, byte_order: str, registers: list[int]) -> None:
    """IEEE 754: 123.456 is 0x42F6E979 as the nearest 32 bit number, 123.45600128173828."""
    one = Register(0, 3, "float32", word_order, byte_order)
    assert one.value(registers) == 123.45600128173828


@pytest.mark.parametrize(
    ("form", "registers", "number"),
    [
        ("int16", [0xFFFF], -1),
        ("uint16", [0xFFFF], 65_535),
        ("int32", [0xFFFF, 0xFFFE], -2),
        ("uint32", [0x0001, 0x0000], 65_536),
        ("int64", [0xFFFF, 0xFFFF, 0xFFFF, 0xFFFD], -3),
        ("uint64", [0x8000, 0, 0, 0], 2**63),
        ("float64", [0x3FF8, 0, 0, 0], 1.5),
    ],
)
def test_each_form(form: str, registers: list[int], number: float) -> None:
    """Two's complement and IEEE 754."""
    assert Register(0, 3, form).value(registers) == number


def test_scale_and_offset_are_worked_out_in_decimals() -> None:
    """In binary 2431 * 0.01 would be 24.310000000000002."""
    assert Register(0, 3, "int16", scale=0.01).value([2431]) == 24.31
    assert Register(0, 3, "int16", scale=0.1, offset=-273.15).value([2974]) == 24.25
    assert Register(0, 3, "int16", scale=-1e-3).value([1]) == -0.001


@pytest.mark.parametrize(
    ("one", "registers", "reason"),
    [
        (Register(0, 3, "float32"), [0x7FC0, 0], "says NaN, its word for no value"),
        (Register(0, 3, "float32"), [0xFFFF, 0xFFFF], "says NaN"),
        (Register(0, 3, "float32"), [0x7F80, 0], "says infinity"),
        (Register(0, 3, "float64"), [0xFFF0, 0, 0, 0], "says infinity"),
        (Register(0, 3, "int16", none_value=32_767), [0x7FFF], "32767 is its word for no value"),
        (Register(0, 3, "int16", none_value=-32_768, scale=0.1), [0x8000], "-32768 is its word for no value"),
        (Register(0, 3, "float32", none_value=-99.9), [0xC2C7, 0xCCCD], "-99.9 is its word for no value"),
        (Register(0, 3, "float64", scale=1e300), [0x7FE0, 0, 0, 0], "is too large a number"),
    ],
)
def test_what_means_no_value_is_refused(one: Register, registers: list[int], reason: str) -> None:
    """With its reason; -99.9 as the nearest 32 bit number."""
    with pytest.raises(ValueError, match=reason):
        one.value(registers)


def test_a_number_that_a_form_cannot_hold_is_known() -> None:
    """So that a none_value that can never come is told when the room file is read."""
    assert written("int16", 32_767) == 32_767
    assert written("int16", 32_768) is None
    assert written("uint16", -1) is None
    assert written("int16", 0.5) is None
    assert written("float32", 1e300) is None
    assert written("float64", 0.5) == 0.5


@settings(max_examples=2000, deadline=None)
@given(
    st.sampled_from(sorted(FORMS)),
    st.sampled_from(["high_first", "low_first"]),
    st.sampled_from(["high_first", "low_first"]),
    st.lists(st.integers(0, 65_535), min_size=4, max_size=4),
)
def test_any_registers_give_a_finite_number_or_a_reason(
    form: str, word_order: str, byte_order: str, words: list[int]
) -> None:
    """Never anything else."""
    one = Register(0, 3, form, word_order, byte_order, scale=0.01, offset=1.0)
    with suppress(ValueError):
        number = one.value(words[: one.count])
        assert isinstance(number, float)
        assert isfinite(number)


def test_adjoining_registers_are_read_together_others_are_not() -> None:
    """A register nobody asked for may not be there, and its exception would spoil the rest."""
    asked = [
        Register(4, 3, "float32"),
        Register(0, 3, "int32"),
        Register(2, 3, "int16"),
        Register(3, 3, "int16"),
        Register(6, 4, "int16"),
        Register(8, 3, "int16"),
        Register(4, 3, "int16"),
    ]
    assert blocks(asked) == (Block(3, 0, 6), Block(3, 8, 1), Block(4, 6, 1))


@settings(max_examples=500, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(0, 300), st.sampled_from([3, 4]), st.sampled_from(sorted(FORMS))),
        min_size=1,
        max_size=200,
    )
)
def test_every_value_is_in_a_block_and_no_block_is_too_long(places: list[tuple[int, int, str]]) -> None:
    """Whatever the keeper writes."""
    asked = [Register(*place) for place in places]
    found = blocks(asked)
    needed = {(one.function, at) for one in asked for at in range(one.address, one.address + one.count)}
    read = {(block.function, at) for block in found for at in range(block.address, block.address + block.count)}
    assert read == needed
    assert all(1 <= block.count <= MOST_REGISTERS for block in found)
    answers = {block: range(block.address, block.address + block.count) for block in found}
    for one in asked:
        assert list(taken(one, answers) or ()) == list(range(one.address, one.address + one.count))


def test_a_value_whose_block_did_not_come_is_known() -> None:
    """And not looked up in another function's."""
    assert taken(Register(0, 3, "int16"), {}) is None
    assert taken(Register(0, 3, "int16"), {Block(4, 0, 1): [7]}) is None
    assert taken(Register(0, 3, "int32"), {Block(3, 0, 1): [7]}) is None


def test_exceptions_are_told_in_words_with_what_to_do() -> None:
    """Codes of Modbus application protocol v1.1b3, section 7, from memory."""
    assert exception_words(1, 5, Block(4, 0, 2)) == (
        "the probe does not know function 4; try function = 3 (exception 1)"
    )
    assert exception_words(2, 5, Block(3, 10, 1)).startswith("the probe has no register 10; ")
    assert exception_words(11, 5, Block(3, 10, 1)).startswith("device 5 does not answer the gateway; ")
    assert exception_words(99, 5, Block(3, 10, 1)).endswith("(exception 99)")
    assert sorted(EXCEPTIONS) == [1, 2, 3, 4, 5, 6, 8, 10, 11]


@pytest.mark.parametrize(
    ("number", "hint"),
    [
        (0, None),
        (30_000, None),
        (30_001, "register = 0, function = 4"),
        (40_012, "register = 11, function = 3"),
        (49_999, "register = 9998, function = 3"),
        (50_000, None),
        (400_001, "register = 0, function = 3"),
        (365_536, "register = 65535, function = 4"),
        (465_536, "register = 65535, function = 3"),
    ],
)
def test_a_number_with_the_function_in_front_is_known(number: int, hint: str | None) -> None:
    """The notation of many manuals, which counts from 1."""
    assert notation_hint(number) == hint
