"""Bytes to lines: whole, byte by byte, glued, halved, with garbage around, and without an end."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.codecs.lines import LineSplitter

FRAMES = [b"24.31,7.82", b"T=24.31;DO=7.82", b"x", b"24.31 7.82 OK"]
ENDS = [b"\n", b"\r\n", b"\r", b";;"]


@pytest.mark.parametrize("end", ENDS)
@pytest.mark.parametrize("frame", FRAMES)
def test_a_whole_line_in_one_piece(frame: bytes, end: bytes) -> None:
    """One read, one line."""
    assert LineSplitter(end).feed(frame + end) == [frame]


@pytest.mark.parametrize("end", ENDS)
@pytest.mark.parametrize("frame", FRAMES)
def test_byte_by_byte(frame: bytes, end: bytes) -> None:
    """A slow line arrives a byte at a time, and is given once, when it is whole."""
    splitter = LineSplitter(end)
    got = [splitter.feed(bytes([byte])) for byte in frame + end]
    assert got[:-1] == [[]] * (len(got) - 1)
    assert got[-1] == [frame]


@pytest.mark.parametrize("end", ENDS)
def test_glued_lines_come_apart(end: bytes) -> None:
    """Several lines in one read come in their order."""
    assert LineSplitter(end).feed(end.join([*FRAMES, b""])) == FRAMES


def test_half_a_line_waits_for_the_other_half() -> None:
    """Nothing is given of an unfinished line."""
    splitter = LineSplitter()
    assert splitter.feed(b"24.3") == []
    assert splitter.feed(b"1\n25") == [b"24.31"]
    assert splitter.feed(b".00\r\n") == [b"25.00"]


def test_line_feed_tolerates_carriage_return_and_passes_over_empty_lines() -> None:
    """Probes end lines in either way, and some send empty ones."""
    assert LineSplitter().feed(b"\r\n\n24.31\r\n\r\n7.82\n") == [b"24.31", b"7.82"]


def test_garbage_stays_with_its_own_line() -> None:
    """Noise before a line spoils that line at most; the next is whole."""
    assert LineSplitter().feed(b"\xff\x00\x8024.31\n24.32\n") == [b"\xff\x00\x8024.31", b"24.32"]


@pytest.mark.parametrize("end", ENDS)
def test_a_line_without_end_is_counted_and_memory_stays_bounded(end: bytes) -> None:
    """A probe gone mad costs neither memory nor the line after it."""
    splitter = LineSplitter(end, max_bytes=50)
    for _ in range(1000):
        assert splitter.feed(b"A" * 97) == []
        assert splitter.held_bytes <= 50
    assert splitter.feed(end + b"24.31" + end) == [b"24.31"]
    assert splitter.overlong == 1


def test_overlong_line_in_one_read_is_counted_too() -> None:
    """Its neighbours are not touched."""
    splitter = LineSplitter(max_bytes=10)
    assert splitter.feed(b"ok1\n" + b"x" * 11 + b"\nok2\n") == [b"ok1", b"ok2"]
    assert splitter.overlong == 1


def test_the_tail_of_a_line_missed_is_not_taken_for_a_line() -> None:
    """'4.31' of '24.31' would be a believable and wrong temperature."""
    splitter = LineSplitter()
    splitter.skip_first()
    assert splitter.feed(b"4.31,7.82\n24.30,7.80\n") == [b"24.30,7.80"]
    assert (splitter.cut, splitter.overlong) == (1, 0)


@given(
    lines=st.lists(st.binary(min_size=1, max_size=40).filter(lambda b: not set(b) & {10, 13}), max_size=20),
    cuts=st.lists(st.integers(0, 900), max_size=20),
    end=st.sampled_from([b"\n", b"\r\n"]),
)
def test_however_it_is_cut_the_same_lines_come_out(lines: list[bytes], cuts: list[int], end: bytes) -> None:
    """The way the system hands bytes over never changes what was said."""
    stream = b"".join(line + end for line in lines)
    edges = sorted({0, len(stream), *(cut for cut in cuts if cut < len(stream))})
    splitter = LineSplitter(end)
    got = [line for a, b in pairwise(edges) for line in splitter.feed(stream[a:b])]
    assert got == lines


@given(
    pieces=st.lists(st.binary(max_size=300), max_size=30), size=st.integers(1, 60), end=st.sampled_from([b"\n", b"ab"])
)
def test_any_bytes_are_survived_within_the_bound(pieces: list[bytes], size: int, end: bytes) -> None:
    """No input raises, nothing longer than allowed is held or given."""
    splitter = LineSplitter(end, size)
    for piece in pieces:
        assert all(0 < len(line) <= size for line in splitter.feed(piece))
        assert splitter.held_bytes <= max(size, len(end))
