"""One formula for a single number and for arrays: the same body, plain floats in the line, NumPy elsewhere.

A single number out of range raises OutOfRange. In arrays an element out of range, or NaN, gives NaN, and ``outside``
gives the mask; masked elements stay masked. Must not do: extrapolate, or hold a formula.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any, NamedTuple, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from api.domain.errors import OutOfRange

Floats = NDArray[np.float64]
Num = TypeVar("Num", float, Floats)
"""A single number or an array; what goes in comes out. Numbers and arrays may be mixed: then it is an array."""
CHUNK = 8192
"""Elements worked on at a time, so that what is in between stays near the processor."""
_SPANS: dict[str, tuple[Span, ...]] = {}


class Span(NamedTuple):
    """The valid range of one input."""

    name: str
    low: float
    high: float
    unit: str


Made = TypeVar("Made", bound=Callable[..., Any])


def within(*spans: Span) -> Callable[[Made], Made]:
    """Declare the valid ranges of a formula's inputs, in their order."""

    def declared(formula: Made) -> Made:
        _SPANS[f"{formula.__module__}.{formula.__name__}"] = spans
        return formula

    return declared


def spans_of(formula: Callable[..., Any]) -> tuple[Span, ...]:
    """The valid ranges of a formula's inputs."""
    return _SPANS.get(f"{formula.__module__}.{formula.__name__}", ())


def outside(formula: Callable[..., Any], *inputs: ArrayLike) -> NDArray[np.bool_]:
    """Where inputs are outside a formula's range (NaN is), as one mask of their common shape."""
    found = np.zeros(np.broadcast_shapes(*(np.shape(one) for one in inputs)), bool)
    for span, given in zip(spans_of(formula), inputs, strict=False):
        values = np.ma.getdata(np.asanyarray(given, np.float64))
        found |= ~((values >= span.low) & (values <= span.high))
    return found


def either(body: Callable[..., Any], spans: tuple[Span, ...], *inputs: Any) -> Any:
    """A formula's value: ``body(math or numpy, *inputs)`` once the inputs are known to be in range.

    Raises OutOfRange for a single number outside its span.
    """
    for one in inputs:
        if type(one) is not float and not isinstance(one, int | float):
            return _over_arrays(body, spans, inputs)
    for span, value in zip(spans, inputs, strict=False):
        if not span.low <= value <= span.high:
            raise OutOfRange(span.name, value, span.low, span.high, span.unit)
    return body(math, *inputs)


def _over_arrays(body: Callable[..., Any], spans: tuple[Span, ...], inputs: tuple[Any, ...]) -> Any:
    masked = any(np.ma.isMaskedArray(one) for one in inputs)
    arrays = [np.asanyarray(one, np.float64) for one in inputs]
    bare: list[Any] = [np.ma.getdata(one) for one in arrays]
    shape = np.broadcast_shapes(*(one.shape for one in bare))
    bad: NDArray[np.bool_] | None = None
    for span, values in zip(spans, bare, strict=False):
        # the extremes of an array with NaN are NaN, and no comparison with NaN holds
        if values.size and not (values.min() >= span.low and values.max() <= span.high):
            bad = np.zeros(shape, bool) if bad is None else bad
            bad |= ~((values >= span.low) & (values <= span.high))
    out = np.empty(shape)
    with np.errstate(all="ignore"):
        _fill(out, body, bare)
    if bad is not None:
        out[bad] = np.nan
    if not masked:
        return out
    mask = np.zeros(shape, bool) if bad is None else bad
    for one in arrays:
        mask = mask | np.ma.getmaskarray(one)
    return np.ma.MaskedArray(out, mask)


def _fill(out: Floats, body: Callable[..., Any], inputs: list[Any]) -> None:
    """Work through the arrays in pieces; inputs that are one number stay one number."""
    plain = [float(one) if one.size == 1 and one.ndim == 0 else one for one in inputs]
    if out.size <= CHUNK:
        out[...] = body(np, *plain)
        return
    flat = out.reshape(-1)
    whole = [one if isinstance(one, float) else np.broadcast_to(one, out.shape).reshape(-1) for one in plain]
    for start in range(0, flat.size, CHUNK):
        piece = slice(start, start + CHUNK)
        flat[piece] = body(np, *(one if isinstance(one, float) else one[piece] for one in whole))
