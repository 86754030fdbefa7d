"""SDI-12 answers to numbers: right ones whole and in pieces, wrong ones refused, memory bounded."""

from __future__ import annotations

from contextlib import suppress
from functools import partial

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.codecs import sdi12
from tests.support.sdi12_probe import check_letters

# SDI-12 v1.4 section 4.4.12, worked examples of the check, from memory
EXAMPLES = [
    b"0+3.14OqZ",
    b"0+3.14+2.718+1.414Ipz",
    b"0+1.11+2.22+3.33+4.44+5.55+6.66I]q",
]
VALUES = partial(sdi12.values, address="0", crc=False)


@pytest.mark.parametrize("line", EXAMPLES)
def test_the_check_fits_the_standards_worked_examples(line: bytes) -> None:
    """And so does the simulated sensor's own, made another way."""
    assert sdi12.crc_text(line[:-3]) == line[-3:]
    assert check_letters(line[:-3]) == line[-3:]


@settings(max_examples=300, deadline=None)
@given(st.binary(max_size=90))
def test_two_ways_to_the_check_agree(data: bytes) -> None:
    """Shift register here, long division in the simulated sensor."""
    assert sdi12.crc_text(data) == check_letters(data)


@pytest.mark.parametrize(
    ("command", "crc", "sent"),
    [
        ("M", False, b"0M!"),
        ("M1", False, b"0M1!"),
        ("M", True, b"0MC!"),
        ("M9", True, b"0MC9!"),
        ("C2", True, b"0CC2!"),
        ("R0", False, b"0R0!"),
        ("R0", True, b"0RC0!"),
    ],
)
def test_commands_are_written_as_the_standard_has_them(command: str, crc: bool, sent: bytes) -> None:
    """The letter for the check stands before the number (section 4.4, from memory)."""
    assert sdi12.start_command("0", command, crc) == sent


def test_a_promise_is_read_by_its_length() -> None:
    """Three digits of seconds, then one digit of values for M, two for C."""
    assert sdi12.promise(b"00153", "0", "M") == sdi12.Promise(15, 3)
    assert sdi12.promise(b"a00020", "a", "C1") == sdi12.Promise(0, 20)
    for line in (b"0015", b"001533", b"0 153", b"00+53", b"0", b"", b"0015x"):
        with pytest.raises(ValueError, match="the address"):
            sdi12.promise(line, "0", "M")
    with pytest.raises(ValueError, match="comes from address '1', '0' was asked"):
        sdi12.promise(b"10153", "0", "M")


@pytest.mark.parametrize(
    ("line", "numbers"),
    [
        (b"0+3.14", [3.14]),
        (b"0+3.14-2.718+1", [3.14, -2.718, 1.0]),
        (b"0-0+.5+5.", [-0.0, 0.5, 5.0]),
        (b"0+1234567-0.000001", [1234567.0, -0.000001]),
    ],
)
def test_values_are_parted_by_their_signs(line: bytes, numbers: list[float]) -> None:
    """With or without a point; seven digits at most."""
    assert VALUES(line) == numbers


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        (b"0", "broke the measurement off"),
        (b"", "does not begin with the address"),
        (b"0+ERR", "'.ERR' is not a number"),
        (b"0+", "'.' is not a number"),
        (b"0+3.14+", "'.' is not a number"),
        (b"03.14", "no sign before its first value"),
        (b"00+3.14", "no sign before its first value"),
        (b"0+3.1.4", "is not a number"),
        (b"0+3.14 ", "is not a number"),
        (b"0+3.14\x00", "is not a number"),
        (b"0+1e5", "is not a number"),
        (b"0+12345678", "8 digits, SDI-12 allows 7"),
        (b"0+3.14OqZ", "is not a number"),
        (b"1+3.14", "comes from address '1'"),
        (b"x0+3.14", "comes from address 'x'"),
        (b"\xff0+3.14", "byte 0xff is not ASCII; check baud, bits and parity"),
        (b"0+3.14\xb1", "byte 0xb1"),
        (b"#0+3.14", "does not begin with the address"),
    ],
)
def test_anything_else_is_refused_with_its_reason(line: bytes, reason: str) -> None:
    """Nothing is repaired."""
    with pytest.raises(ValueError, match=reason):
        VALUES(line)


@pytest.mark.parametrize("line", EXAMPLES)
def test_with_the_check_no_changed_letter_passes(line: bytes) -> None:
    """Every letter changed in every bit, one left out, one doubled."""
    assert sdi12.values(line, "0", True)
    wrong = [line[:at] + bytes([line[at] ^ 1 << bit]) + line[at + 1 :] for at in range(len(line)) for bit in range(8)]
    wrong += [line[:at] + line[at + 1 :] for at in range(len(line))]
    wrong += [line[:at] + line[at : at + 1] + line[at:] for at in range(len(line))]
    wrong += [line[:-3], line[:-3] + b"@@@", b"0", b"", b"OqZ"]
    for one in wrong:
        with pytest.raises(ValueError, match=r"check|address|ASCII|value|sign"):
            sdi12.values(one, "0", True)


def test_echo_and_break_before_an_answer_are_taken_off() -> None:
    """Half-duplex adapters hear themselves: NUL for the break, then the command."""
    assert sdi12.answer(b"\x000D0!0+3.14", b"0D0!") == b"0+3.14"
    assert sdi12.answer(b"0D0!0D0!0+3.14", b"0D0!") == b"0+3.14"
    assert sdi12.answer(b"\0\x000+3.14", b"0D0!") == b"0+3.14"
    assert sdi12.answer(b"0+3.14", b"0D0!") == b"0+3.14"
    assert sdi12.answer(b"0D1!0+3.14", b"0D0!") == b"0D1!0+3.14"


def test_an_identification_is_told_in_words() -> None:
    """Two digits of the standard's version, 8 letters maker, 6 model, 3 version, up to 13 of its own."""
    assert sdi12.identity(b"014EXAMPLE PROBE1100A7", "0") == (
        "address 0, SDI-12 1.4, EXAMPLE, model PROBE1, version 100, A7"
    )
    assert sdi12.identity(b"z13EXAMPLE PROBE1100", "z") == "address z, SDI-12 1.3, EXAMPLE, model PROBE1, version 100"
    for line in (b"014EXAMPLE PROBE110", b"0", b"014EXAMPLE PROBE1100" + b"x" * 14, b"014EX\x07MPLE PROBE1100"):
        with pytest.raises(ValueError, match="is no identification"):
            sdi12.identity(line, "0")


def test_a_place_that_is_not_there_is_told() -> None:
    """Counted from 1."""
    assert sdi12.picked([1.0, 2.0], 2) == 2.0
    with pytest.raises(ValueError, match="value 3 is not there, the sensor gives 2"):
        sdi12.picked([1.0, 2.0], 3)


PIECES = [
    [b"0+3.14\r\n"],
    [b"0+3", b".14\r\n"],
    [bytes([byte]) for byte in b"0+3.14\r\n"],
    [b"0+3.14\r", b"\n"],
    [b"garbage\r\n0+3.14\r\n"],
    [b"0+9.99"[:4] + b"\r\n", b"0+3.14\r\n"],
]


@pytest.mark.parametrize("pieces", PIECES)
def test_an_answer_is_whole_however_it_was_cut(pieces: list[bytes]) -> None:
    """The last line of each is the answer."""
    splitter = sdi12.splitter()
    lines = [line for piece in pieces for line in splitter.feed(piece)]
    assert VALUES(lines[-1]) == [3.14]


ANY_LETTER = st.sampled_from([bytes([n]) for n in b"01+-.0123456789OqZ\r\n!DM\x00\xff"])
NOISE = st.one_of(st.binary(max_size=200), st.lists(ANY_LETTER, max_size=60).map(b"".join))


@settings(max_examples=10_000, deadline=None)
@given(NOISE)
def test_ten_thousand_random_frames_crash_nothing_and_pass_no_check(data: bytes) -> None:
    """And the good one after them is read, within bounded memory."""
    splitter = sdi12.splitter()
    for line in splitter.feed(data):
        for parse in (VALUES, partial(sdi12.promise, address="0", command="M"), partial(sdi12.identity, address="0")):
            with suppress(ValueError):
                parse(sdi12.answer(line, b"0D0!"))
        try:
            sdi12.values(line, "0", True)
        except ValueError:
            continue
        assert check_letters(line[:-3]) == line[-3:]
    assert splitter.held_bytes <= sdi12.MOST_BYTES
    lines = splitter.feed(b"\r\n0+3.14OqZ\r\n")
    assert sdi12.values(lines[-1], "0", True) == [3.14]


def test_an_endless_answer_is_held_in_bounded_memory() -> None:
    """And the line after its end is read."""
    splitter = sdi12.splitter()
    for _ in range(10_000):
        assert splitter.feed(b"+3.14" * 20) == []
        assert splitter.held_bytes <= sdi12.MOST_BYTES
    assert splitter.feed(b"\r\n0+3.14\r\n") == [b"0+3.14"]
