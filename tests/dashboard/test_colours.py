"""Contrast of the pages' own colours, by the WCAG 2.2 formula: text 4.5:1, graphics 3:1, in both looks."""

from __future__ import annotations

import re

import pytest

from dashboard.files import FOLDER

TEXT = [(ink, ground) for ink in ("ink", "quiet", "link") for ground in ("paper", "sheet", "call")]
TEXT += [("action-ink", "action")]
MARKS = ("target", "tolerable-edge", "outside-edge", "danger-edge", "unknown", "place", "quiet")
OKABE_ITO = {"#e69f00", "#56b4e9", "#009e73", "#f0e442", "#0072b2", "#d55e00", "#cc79a7", "#000000"}
"""Okabe & Ito, Color Universal Design (2008)."""


def colours(look: str) -> dict[str, str]:
    """Custom properties of one look, the dark one's laid over the light one's."""
    text = (FOLDER / "looks.css").read_text(encoding="utf-8")
    blocks = re.findall(r":root \{(.*?)\}", text, re.S)
    found = dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6})", blocks[0]))
    if look == "dark":
        found |= dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6})", blocks[1]))
    return found


def luminance(colour: str) -> float:
    """WCAG 2.2 relative luminance."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """WCAG 2.2 contrast ratio."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_the_formula_gives_the_known_ends() -> None:
    """Black on white is 21:1, a colour on itself 1:1 (WCAG 2.2)."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#d55e00", "#d55e00") == pytest.approx(1.0)


@pytest.mark.parametrize("look", ["light", "dark"])
@pytest.mark.parametrize(("ink", "ground"), TEXT)
def test_text_can_be_read(look: str, ink: str, ground: str) -> None:
    """4.5 to 1."""
    found = colours(look)
    assert contrast(found[ink], found[ground]) >= 4.5


@pytest.mark.parametrize("look", ["light", "dark"])
@pytest.mark.parametrize("mark", MARKS)
@pytest.mark.parametrize("ground", ["paper"])
def test_marks_and_bands_can_be_seen(look: str, mark: str, ground: str) -> None:
    """3 to 1 for what tells a state: fills, or the outline around a lighter fill."""
    found = colours(look)
    assert contrast(found[mark], found[ground]) >= 3.0


@pytest.mark.parametrize("look", ["light", "dark"])
def test_state_fills_are_from_the_palette(look: str) -> None:
    """Every state's fill is an Okabe-Ito colour; unknown is hatched and may be darker on paper."""
    found = colours(look)
    assert {found[name] for name in ("target", "tolerable", "outside", "danger")} <= OKABE_ITO
    assert found["unknown"] != found["target"]
