"""Modbus frames: the one that fits is found in anything, nothing else is, memory bounded."""

from __future__ import annotations

from contextlib import suppress

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.codecs.modbus_frames import MOST_BYTES, NotModbus, RtuAnswer, TcpAnswer, crc16
from tests.support.modbus_probe import check_bytes


def sealed(frame: bytes) -> bytes:
    """With the simulated probe's own check."""
    return frame + check_bytes(frame)


REQUEST = sealed(bytes.fromhex("03 04 0000 0002"))
ANSWER = sealed(bytes.fromhex("03 04 04 0102 0304"))
FAULT = sealed(bytes.fromhex("03 84 02"))


def test_the_check_is_the_standards() -> None:
    """Known values, from memory: 123456789 gives 0x4B37; the request 01 03 0000 000A ends in C5 CD."""
    assert crc16(b"123456789") == bytes.fromhex("374b") == check_bytes(b"123456789")
    assert crc16(bytes.fromhex("01030000000a")) == bytes.fromhex("c5cd") == check_bytes(bytes.fromhex("01030000000a"))


@settings(max_examples=300, deadline=None)
@given(st.binary(min_size=2, max_size=80))
def test_two_ways_to_the_check_agree(data: bytes) -> None:
    """Shift register here, long division in the simulated probe."""
    assert crc16(data) == check_bytes(data)


@pytest.mark.parametrize(
    ("pieces", "frame"),
    [
        ([ANSWER], ANSWER),
        ([FAULT], FAULT),
        ([ANSWER[:4], ANSWER[4:]], ANSWER),
        ([bytes([byte]) for byte in ANSWER], ANSWER),
        ([ANSWER + ANSWER], ANSWER),
        ([b"\x00\xff\x03" + ANSWER], ANSWER),
        ([b"\x03\x04\x04" + ANSWER + b"\x55"], ANSWER),
        ([REQUEST + ANSWER], ANSWER),
        ([REQUEST[:3], REQUEST[3:] + ANSWER[:1], ANSWER[1:]], ANSWER),
        ([ANSWER[:-1] + b"\x00", ANSWER], ANSWER),
        ([sealed(bytes.fromhex("07 04 04 0909 0909")) + ANSWER], ANSWER),
        ([sealed(bytes.fromhex("03 03 04 0909 0909")) + ANSWER], ANSWER),
        ([sealed(bytes.fromhex("03 04 02 0909")) + ANSWER], ANSWER),
    ],
)
def test_the_answer_is_found(pieces: list[bytes], frame: bytes) -> None:
    """Whole, cut, doubled, behind noise, echo, another device, another function, another length, a wrong check."""
    answer = RtuAnswer(REQUEST)
    assert next(found for piece in pieces if (found := answer.feed(piece))) == frame


@pytest.mark.parametrize(
    ("data", "reason"),
    [
        (b"", ""),
        (REQUEST, ""),
        (ANSWER[:5], "5 bytes that are not its answer; check baud, parity and the device's number"),
        (ANSWER[:-1] + b"\x00", "an answer with a wrong check"),
        (sealed(bytes.fromhex("07 04 04 0909 0909")), "9 bytes that are not its answer"),
        (sealed(bytes.fromhex("03 04 06 0909 0909 0909")), "11 bytes that are not its answer"),
    ],
)
def test_what_is_no_answer_has_a_reason(data: bytes, reason: str) -> None:
    """Silence and the echo of ourselves are none."""
    answer = RtuAnswer(REQUEST)
    assert answer.feed(data) == b""
    assert answer.heard.startswith(reason)
    assert bool(answer.heard) == bool(reason)


def test_every_changed_bit_of_an_answer_is_noticed() -> None:
    """One at a time."""
    for at in range(len(ANSWER)):
        for bit in range(8):
            wrong = ANSWER[:at] + bytes([ANSWER[at] ^ 1 << bit]) + ANSWER[at + 1 :]
            assert RtuAnswer(REQUEST).feed(wrong) == b""


BYTES = st.sampled_from([bytes([n]) for n in (0, 2, 3, 4, 0x84, 9, 255)])
NOISE = st.one_of(st.binary(max_size=120), st.lists(BYTES, max_size=60).map(b"".join))


@settings(max_examples=10_000, deadline=None)
@given(NOISE)
def test_ten_thousand_random_frames_give_nothing_that_does_not_fit(noise: bytes) -> None:
    """And the good one after them is found, in bounded memory."""
    answer = RtuAnswer(REQUEST)
    found = answer.feed(noise)
    assert len(answer._held) <= MOST_BYTES + len(noise)
    if found:
        assert found[0] == 3
        assert found[1] in (0x04, 0x84)
        assert check_bytes(found[:-2]) == found[-2:]
    else:
        assert answer.feed(ANSWER) == ANSWER


def test_an_endless_noise_is_held_in_bounded_memory() -> None:
    """Made of the beginnings of answers."""
    answer = RtuAnswer(REQUEST)
    for _ in range(2000):
        assert answer.feed(b"\x03\x04\x04\x03\x84" * 20) == b""
        assert len(answer._held) <= MOST_BYTES
    assert answer.feed(ANSWER) == ANSWER


TCP_REQUEST = bytes.fromhex("0101 0000 0006 03 04 0000 0002")
TCP_ANSWER = bytes.fromhex("0101 0000 0007 03 04 04 0102 0304")
TCP_FAULT = bytes.fromhex("0101 0000 0003 03 84 02")
OLDER = bytes.fromhex("0100 0000 0007 03 04 04 0909 0909")


@pytest.mark.parametrize(
    ("pieces", "frame"),
    [
        ([TCP_ANSWER], TCP_ANSWER),
        ([TCP_FAULT], TCP_FAULT),
        ([TCP_ANSWER[:3], TCP_ANSWER[3:9], TCP_ANSWER[9:]], TCP_ANSWER),
        ([bytes([byte]) for byte in TCP_ANSWER], TCP_ANSWER),
        ([TCP_ANSWER * 2], TCP_ANSWER),
        ([OLDER + TCP_ANSWER], TCP_ANSWER),
        ([OLDER + OLDER[:5], OLDER[5:] + TCP_ANSWER], TCP_ANSWER),
    ],
)
def test_the_numbered_answer_is_found_in_the_stream(pieces: list[bytes], frame: bytes) -> None:
    """A late answer to an older request is passed over."""
    answer = TcpAnswer(TCP_REQUEST)
    assert next(found for piece in pieces if (found := answer.feed(piece))) == frame


@pytest.mark.parametrize(
    "data",
    [
        b"HTTP/1.1 400 Bad Request\r\n",
        bytes.fromhex("0101 0001 0007 03 04 04 0102 0304"),
        bytes.fromhex("0101 0000 0001 03 04"),
        bytes.fromhex("0101 0000 ffff 03 04"),
        bytes.fromhex("0101 0000 0007 05 04 04 0102 0304"),
        bytes.fromhex("0101 0000 0007 03 03 04 0102 0304"),
        bytes.fromhex("0101 0000 0005 03 04 02 0102"),
        bytes.fromhex("0101 0000 0007 03 04 02 0102 0304"),
        bytes.fromhex("0101 0000 0004 03 84 02 00"),
    ],
)
def test_what_cannot_be_the_answer_ends_the_connection(data: bytes) -> None:
    """Another protocol, another length, device, function or number of registers."""
    with pytest.raises(NotModbus):
        TcpAnswer(TCP_REQUEST).feed(data)


def test_half_an_answer_is_known_as_such() -> None:
    """Its other half would be taken for the next one's beginning."""
    answer = TcpAnswer(TCP_REQUEST)
    assert answer.feed(OLDER) == b""
    assert (answer.half, answer.heard) == (False, "1 answers to older requests; timeout_s is too short for it")
    assert answer.feed(TCP_ANSWER[:5]) == b""
    assert (answer.half, answer.heard) == (True, "half an answer")


@settings(max_examples=3000, deadline=None)
@given(st.lists(st.one_of(NOISE, st.just(OLDER), st.just(TCP_REQUEST)), max_size=4))
def test_three_thousand_random_streams_give_nothing_that_does_not_fit(pieces: list[bytes]) -> None:
    """An answer of the right number, device, function and length, or none."""
    answer = TcpAnswer(TCP_REQUEST)
    with suppress(NotModbus):
        for piece in pieces:
            if found := answer.feed(piece):
                assert (found[:4], found[6]) == (TCP_REQUEST[:4], 3)
                assert (found[7], len(found)) in ((0x04, 13), (0x84, 9))
            assert len(answer._held) <= MOST_BYTES
