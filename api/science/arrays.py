"""One formula for a single number and for arrays: the same body, plain floats in the line, NumPy elsewhere.

A single number out of range raises OutOfRange. In arrays an element out of range, or NaN, gives NaN, and ``outside``
gives the mask; masked elements stay masked, and a masked array is masked too where it has nothing. An element of an
array and the single number are mostly the same to the last bit and agree to 1e-15 of their value, as Python's and
NumPy's functions do (Weiss's old equation, which multiplies a logarithm by 143: to 1e-13). Must not do: extrapolate, or
hold a formula.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from inspect import signature
from typing import Any, NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from api.domain.errors import OutOfRange

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.int8]
Bools = NDArray[np.bool_]
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


def outside(formula: Callable[..., Any], *inputs: Any, **named: Any) -> NDArray[np.bool_]:
    """Where a formula has nothing to give: an input is NaN, or it or the result is out of range.

    Inputs as the formula takes them; one mask of their common shape. Masked elements are not outside: nothing is there.
    Raises TypeError for a formula that declares no ranges, for then nothing can be told.
    """
    if not spans_of(formula):
        raise TypeError(f"{formula.__name__} declares no ranges, so nothing can be told of its inputs")
    bound = signature(formula).bind(*inputs, **named)
    numbers = {name: one for name, one in bound.arguments.items() if not isinstance(one, str | bool)}
    shape = np.broadcast_shapes(*(np.shape(one) for one in numbers.values()))
    for name, one in numbers.items():
        bound.arguments[name] = np.broadcast_to(np.ma.getdata(one), shape).reshape(-1)
    empty = np.isnan(formula(*bound.args, **bound.kwargs)).reshape(shape)
    for one in numbers.values():
        empty = empty & ~np.ma.getmaskarray(np.ma.asarray(one))
    return np.asarray(empty)


def either(body: Callable[..., Any], spans: tuple[Span, ...], *inputs: Any, made: Span | None = None) -> Any:
    """A formula's value: ``body(math or numpy, *inputs)`` once the inputs are known to be in range.

    ``made`` is the range of the result, where the source gives one. Single numbers of any kind give a plain float.
    Raises OutOfRange for a single number outside its span, TypeError for what is no number.
    """
    for one in inputs:
        if type(one) is not float:
            return _otherwise(body, spans, inputs, made)
    for span, value in zip(spans, inputs, strict=False):
        if not span.low <= value <= span.high:
            raise OutOfRange(span.name, value, span.low, span.high, span.unit)
    result = body(math, *inputs)
    if made is not None and not made.low <= result <= made.high:
        raise OutOfRange(made.name, result, made.low, made.high, made.unit)
    return result


def _otherwise(body: Callable[..., Any], spans: tuple[Span, ...], inputs: tuple[Any, ...], made: Span | None) -> Any:
    """Numbers of another kind, or arrays."""
    found = [_numbers(span.name, one) for span, one in zip(spans, inputs, strict=True)]
    if all(one.ndim == 0 and not np.ma.isMaskedArray(one) for one in found):
        return either(body, spans, *(float(one) for one in found), made=made)
    return _over_arrays(body, spans, found, made)


def _numbers(name: str, given: Any) -> Any:
    """An input as an array of float64, masked where it was; None inside a list is a missing number."""
    found = np.ma.asarray(given) if np.ma.isMaskedArray(given) else np.asarray(given)
    if found.dtype.kind not in ("iuf" if found.ndim == 0 else "iufO"):
        raise TypeError(f"{name} takes numbers, not {given!r:.60}")
    return found.astype(np.float64, copy=False)


def _over_arrays(body: Callable[..., Any], spans: tuple[Span, ...], inputs: list[Any], made: Span | None) -> Any:
    data = [np.ma.getdata(one) for one in inputs]
    out = np.empty(np.broadcast_shapes(*(one.shape for one in data)))
    plain: list[Any] = [float(one) if one.ndim == 0 else np.broadcast_to(one, out.shape).reshape(-1) for one in data]
    singles = [(span, one) for span, one in zip(spans, plain, strict=True) if type(one) is float]
    if all(span.low <= one <= span.high for span, one in singles):
        _fill(out.reshape(-1), body, spans, plain, made)
    else:
        out[...] = np.nan
    if not any(np.ma.isMaskedArray(one) for one in inputs):
        return out
    hidden = np.isnan(out)
    for one in inputs:
        hidden = hidden | np.ma.getmaskarray(one)
    return np.ma.MaskedArray(out, hidden)


def _fill(
    line: Floats, body: Callable[..., Any], spans: tuple[Span, ...], inputs: list[Any], made: Span | None
) -> None:
    """Work through the arrays in pieces; inputs that are one number stay one number."""
    with np.errstate(all="ignore"):
        for start in range(0, line.size, CHUNK):
            piece = slice(start, start + CHUNK)
            given = [one if type(one) is float else one[piece] for one in inputs]
            line[piece] = body(np, *given)
            _blank(line[piece], spans, given)
            if made is not None:
                _blank(line[piece], (made,), [line[piece]])


def _blank(results: Floats, spans: tuple[Span, ...], given: list[Any]) -> None:
    """NaN where a value is out of range."""
    for span, values in zip(spans, given, strict=True):
        # the extremes of an array with NaN are NaN, and no comparison with NaN holds
        if type(values) is not float and not (values.min() >= span.low and values.max() <= span.high):
            results[~((values >= span.low) & (values <= span.high))] = np.nan
