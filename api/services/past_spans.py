"""Stretches of time, as first and last time of each (both inside), one row each. Must not do: read what is kept."""

from __future__ import annotations

import numpy as np

from api.science.arrays import Bools, Ints

NONE: Ints = np.zeros((0, 2), np.int64)


def spans_of(times_ms: Ints, which: Bools) -> Ints:
    """The stretches of rising times in which all are marked."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], which, [False])).astype(np.int8)))
    return np.column_stack((times_ms[edges[::2]], times_ms[edges[1::2] - 1]))


def union(*some: Ints) -> Ints:
    """Stretches in the order of time; those that overlap are one."""
    spans = np.concatenate(some)
    if len(spans) < 2:
        return spans
    spans = spans[np.argsort(spans[:, 0], kind="stable")]
    ends = np.maximum.accumulate(spans[:, 1])
    first = np.flatnonzero(np.concatenate(([True], spans[1:, 0] > ends[:-1])))
    return np.column_stack((spans[first, 0], ends[np.append(first[1:] - 1, len(spans) - 1)]))


def clipped(spans: Ints, from_ms: int, to_ms: int) -> Ints:
    """What of them lies from a time (inside) to another (outside)."""
    cut = np.column_stack((np.maximum(spans[:, 0], from_ms), np.minimum(spans[:, 1], to_ms - 1)))
    return cut[cut[:, 0] <= cut[:, 1]]


def inside(times_ms: Ints, spans: Ints) -> Bools:
    """Which times lie in stretches that are a union."""
    if not len(spans):
        return np.zeros(len(times_ms), dtype=bool)
    at = np.searchsorted(spans[:, 0], times_ms, side="right") - 1
    found: Bools = (at >= 0) & (times_ms <= spans[at, 1])
    return found
