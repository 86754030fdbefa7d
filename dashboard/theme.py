"""Chart colours for paper and for the dark; state colours and lines are from the Okabe-Ito palette.

Must not do: carry meaning alone; every colour goes with a word or a shape.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Theme:
    """Colours of one look; state colours and lines are from the Okabe-Ito palette."""

    paper: str
    ink: str
    faint: str
    lines: tuple[str, ...]
    target: str
    tolerable: str
    danger: str
    unknown: str
    flagged: str
    tint: float


LIGHT = Theme(
    "#ffffff", "#1c1b19", "#cfcac0", ("#0072B2", "#1c1b19", "#8a4a78"), "#009E73", "#56B4E9", "#D55E00", "#8a4a78",
    "#a34700", 0.20,
)  # fmt: skip
DARK = Theme(
    "#14171a", "#ece7dc", "#474b4e", ("#56B4E9", "#F0E442", "#CC79A7"), "#009E73", "#56B4E9", "#D55E00", "#CC79A7",
    "#E69F00", 0.30,
)  # fmt: skip
