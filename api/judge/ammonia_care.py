"""Built-in limits of total ammonia that follow pH and temperature: what poisons is the un-ionised part.

Pure. Must not do: touch a limit a person set, or make one looser than its source gives it.
"""

from __future__ import annotations

from dataclasses import replace

from api.domain.care import CareRange
from api.domain.care_chemistry import AMMONIA_C, AMMONIA_PH, CHEMISTRY
from api.domain.errors import OutOfRange
from api.domain.quantity import Quantity
from api.science.ammonia import unionized_fraction

NAMES = ("target_high", "tolerable_high")
BUILT_IN = next(one for one in CHEMISTRY if one.quantity is Quantity.AMMONIA)


def followed(care: CareRange, ph: float, temperature_c: float) -> CareRange:
    """The range in water of a pH and temperature [Cel]: limits so much lower that the un-ionised part stays the same.

    At a lower pH they stay as they are: judgement, as ammonium itself was not tried. Where the share cannot be told,
    too.
    """
    try:
        share = unionized_fraction(AMMONIA_PH, AMMONIA_C) / unionized_fraction(ph, temperature_c)
    except OutOfRange:
        return care
    own = {name for name in NAMES if getattr(care, name) is not None and _built_in(care, name)}
    if care.quantity is not Quantity.AMMONIA or share >= 1.0 or not own:
        return care
    limits = {name: float(f"{getattr(care, name) * share:.2g}") for name in own}
    said = f"; for the un-ionised part at pH {ph:.1f} and {temperature_c:.0f} °C"
    sources = tuple((name, f"{source}{said}" if name in own else source) for name, source in care.sources)
    return replace(care, **limits, deadband=min(care.deadband, 0.1 * min(limits.values())), sources=sources)  # type: ignore[arg-type]


def _built_in(care: CareRange, name: str) -> bool:
    """Whether a number is the program's own, and not one a person set."""
    return getattr(care, name) == getattr(BUILT_IN, name) and care.source_of(name) == BUILT_IN.source_of(name)
