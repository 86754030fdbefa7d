"""The animals' pages in a real browser: entered with one thumb, undone, photographed; quiet, large enough, printed."""

from __future__ import annotations

import base64
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from api.app import create_api
from api.domain.husbandry import EventKind
from dashboard.app import join
from tests.support.browser import (
    IN_BROWSER,
    LEAST_ACTION_PX,
    LEAST_TARGET_PX,
    OUTPUT,
    SIZES,
    SMALL_TARGETS,
    Watched,
    served,
)
from tests.support.colony import entries, log, settle
from tests.support.rooms import TestRoom, room

K = EventKind
PIXEL = "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNk+M9QDwADhgGAWjR9awAAAABJRU5ErkJggg=="
"""A PNG of one pixel."""
pytestmark = IN_BROWSER


@pytest.fixture(scope="module")
def colony(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, TestRoom]]:
    """The test room with three animals behind a real server."""
    with room(tmp_path_factory.mktemp("colony")) as lab:
        ada = settle(lab, "Ada", "t1", days_ago=90, carapace_mm=18.0)
        for name in ("Bo", "Cy"):
            settle(lab, name, "t2", days_ago=90, carapace_mm=24.0)
        log(lab, K.MOLT, ada, days_ago=60)
        log(lab, K.MEASURED, ada, days_ago=50, carapace_mm=20.5)
        with served(join(create_api(lab.service), lab.service)) as base:
            yield base, lab


@pytest.mark.parametrize("look", ["light", "dark"])
@pytest.mark.parametrize("size", list(SIZES))
@pytest.mark.parametrize(
    ("name", "path"),
    [("animals", "/animals"), ("animal", "/animal/1"), ("log", "/tank/t2/log"), ("event", "/event/1"),
     ("label", "/labels")],
)  # fmt: skip
def test_pages_fit_and_are_quiet(
    colony: tuple[str, TestRoom], browser: Any, name: str, path: str, size: str, look: str
) -> None:
    """With every form open: no sideways scrolling, no complaints, one host, targets large enough for a thumb."""
    base, _ = colony
    seen = Watched(browser, size, look)
    seen.page.goto(base + path)
    if name == "animal":
        seen.page.wait_for_selector("body[data-drawn]", timeout=60_000)
        assert seen.page.locator(".chart.js-plotly-plot").count() == 2
    seen.page.evaluate(
        "document.querySelectorAll('details').forEach((d) => { d.removeAttribute('name'); d.open = true })"
    )
    assert seen.page.evaluate("document.documentElement.scrollWidth") <= SIZES[size][0]
    assert [one for one in seen.page.evaluate(SMALL_TARGETS) if one[1] < LEAST_TARGET_PX] == []
    actions = seen.page.locator(".action, nav a, .taps summary, .more > summary")
    heights = [actions.nth(i).bounding_box() for i in range(actions.count()) if actions.nth(i).is_visible()]
    assert min(box["height"] for box in heights if box is not None) >= LEAST_ACTION_PX
    seen.page.screenshot(path=OUTPUT / f"colony-{name}-{size}-{look}.png", full_page=True)
    assert seen.complaints == []
    assert seen.hosts == {base.removeprefix("http://")}
    seen.context.close()


def test_a_molt_is_logged_with_one_thumb_and_undone(colony: tuple[str, TestRoom], browser: Any) -> None:
    """From the label's address: one tap opens, one keeps; the reminders come; a third takes it back."""
    base, lab = colony
    seen = Watched(browser, "phone", "light")
    seen.page.goto(f"{base}/t/t1")
    seen.page.tap("summary:has-text('Molt seen')")
    form = seen.page.locator("details.tap[open] form")
    form.locator("input[name=person]").fill("Aki")
    form.locator("button").tap()
    seen.page.wait_for_selector(".kept:has-text('Leave the exuvia in')")
    assert "soft until" in seen.page.inner_text("main")
    kept = entries(lab, kinds=("molt",), animal=1)[-1]
    assert (kept.entered_by, kept.event.time_ms) == ("Aki", lab.now_ms)
    seen.page.tap(".kept button:has-text('Undo')")
    seen.page.wait_for_selector(".kept:has-text('withdrawn by Aki')")
    assert len(lab.service.lives.get(1).molts) == 1
    seen.page.tap("button:has-text('Fed')")
    seen.page.wait_for_selector(".kept:has-text('Kept: fed')")
    assert seen.complaints == []
    seen.context.close()


def test_a_photograph_is_made_small_and_kept(colony: tuple[str, TestRoom], browser: Any, tmp_path: Path) -> None:
    """Chosen on the animal's page, kept as a JPEG made by the browser, shown at once."""
    base, lab = colony
    file = tmp_path / "ada.png"
    file.write_bytes(base64.b64decode(PIXEL))
    seen = Watched(browser, "phone", "light")
    seen.page.goto(f"{base}/animal/2")
    seen.page.tap("summary:has-text('Photograph')")
    form = seen.page.locator("form[data-photograph]")
    form.locator("input[type=file]").set_input_files(file)
    form.locator("input[name=person]").fill("Noor")
    form.locator("button").tap()
    seen.page.wait_for_selector(".animal-head img")
    assert seen.page.evaluate("document.querySelector('.animal-head img').naturalWidth") == 1
    found = lab.service.animals.photograph(2)
    assert (found.media_type, found.entered_by) == ("image/jpeg", "Noor")
    assert seen.complaints == []
    seen.context.close()


def test_a_file_of_animals_is_put_into_its_field(colony: tuple[str, TestRoom], browser: Any, tmp_path: Path) -> None:
    """Chosen, looked at, taken."""
    base, lab = colony
    file = tmp_path / "more.csv"
    file.write_text("name,tank\nDot,t2\n", encoding="utf-8")
    seen = Watched(browser, "desk", "light")
    seen.page.goto(f"{base}/animals")
    seen.page.locator("input[type=file]").set_input_files(file)
    seen.page.wait_for_function("document.getElementById('csv').value.includes('Dot')")
    form = seen.page.locator("form[action='/animals/import']")
    form.locator("input[name=person]").fill("Noor")
    form.locator("button").click()
    seen.page.wait_for_selector(".kept:has-text('1 entered')")
    assert lab.service.animals.named("dot") is not None
    seen.context.close()


def test_labels_are_printed_alone(colony: tuple[str, TestRoom], browser: Any) -> None:
    """Nothing but the labels goes on paper."""
    base, _ = colony
    seen = Watched(browser, "desk", "dark")
    seen.page.goto(f"{base}/labels?base=http://192.168.1.20:8080")
    seen.page.emulate_media(media="print")
    assert not seen.page.locator("body > header, body > footer").first.is_visible()
    shown = seen.page.inner_text("main")
    assert re.sub(r"\s+", " ", shown).strip() == "t1 http://192.168.1.20:8080/t/t1 t2 http://192.168.1.20:8080/t/t2"
    seen.context.close()
