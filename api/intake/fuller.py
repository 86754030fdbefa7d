"""Blocks of a long file of many probes put together, so that each probe has enough rows in one to be worth the work.

Must not do: change a row, or hold more of a file than a few blocks.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np

from api.intake.block import Block, Series

ENOUGH = 2_500
"""Rows of each probe."""
MOST = 200_000
"""Rows of all: what is put together is kept, cancelled and told of as one."""


def fuller(blocks: Iterable[Block]) -> Iterator[Block]:
    """The same rows in the same order in fewer blocks."""
    some: list[Block] = []
    rows, probes = 0, set[str]()
    for block in blocks:
        if some and rows + block.rows > MOST:
            yield _together(some)
            some, rows, probes = [], 0, set()
        some.append(block)
        rows += block.rows
        probes.update(one.probe for one in block.series)
        if rows >= ENOUGH * len(probes):
            yield _together(some)
            some, rows, probes = [], 0, set()
    if some:
        yield _together(some)


def _together(blocks: list[Block]) -> Block:
    if len(blocks) == 1:
        return blocks[0]
    parts: dict[tuple[str, str, str], list[Series]] = {}
    for block in blocks:
        for one in block.series:
            parts.setdefault((one.probe, one.quantity, one.unit), []).append(one)
    refused = tuple(one for block in blocks for one in block.refused)
    rows = sum(block.rows for block in blocks)
    return Block(tuple(map(_joined, parts.values())), refused, rows, blocks[-1].next_row, blocks[-1].share)


def _joined(parts: list[Series]) -> Series:
    """A probe's rows of several blocks."""
    first = parts[0]
    lines, times_ms, values = (
        np.concatenate([getattr(one, name) for one in parts]) for name in ("lines", "times_ms", "values")
    )
    return Series(first.probe, first.quantity, first.unit, lines, times_ms, values)
