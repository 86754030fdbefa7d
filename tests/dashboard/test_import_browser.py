"""A real stream's file through the import page in a real browser, on a phone, without a script and with."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from api.app import create_api
from api.domain.quantity import Quantity
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
from tests.support.french_creek import FOLDER, ROOM
from tests.support.rooms import TestRoom, room

RECORD = FOLDER / "french_creek_takeover.csv"
OF_ONE_LOGGER = 400
pytestmark = IN_BROWSER


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, TestRoom]]:
    """The room of one stream behind a real server; its rounds are the test's."""
    tank = ROOM.partition("[[probe]]")[0]
    with room(tmp_path_factory.mktemp("room"), tank) as lab:
        lab.service.importing.alone()
        with served(join(create_api(lab.service), lab.service)) as base:
            yield base, lab


@pytest.fixture
def record(tmp_path: Path) -> Path:
    """The first rows of the record that have values."""
    lines = RECORD.read_text(encoding="utf-8").splitlines(keepends=True)
    path = tmp_path / "creek.csv"
    path.write_text("".join([lines[0], *[one for one in lines if "REZN" in one][:OF_ONE_LOGGER]]), encoding="utf-8")
    return path


def fits(seen: Watched, size: str, name: str) -> None:
    """No sideways scrolling, targets large enough; a picture is kept."""
    assert seen.page.evaluate("document.documentElement.scrollWidth") <= SIZES[size][0]
    assert [target for target in seen.page.evaluate(SMALL_TARGETS) if target[1] < LEAST_TARGET_PX] == []
    actions = seen.page.locator(".action:visible, nav a")
    assert min(actions.nth(n).bounding_box()["height"] for n in range(actions.count())) >= LEAST_ACTION_PX
    seen.page.screenshot(path=OUTPUT / f"import-{name}-{size}.png", full_page=True)


@pytest.mark.parametrize(("size", "look"), [("phone", "dark"), ("desk", "light")])
def test_a_file_goes_in(site: tuple[str, TestRoom], browser: Any, record: Path, size: str, look: str) -> None:
    """Chosen, asked about, answered, started, read, told; the second time nothing new is in it."""
    base, lab = site
    seen = Watched(browser, size, look)
    page = seen.page
    page.goto(f"{base}/report")
    page.get_by_role("link", name="Import readings").click()
    page.get_by_label("File").set_input_files(record)
    fits(seen, size, "all")
    page.get_by_role("button", name="Look at the file").click()
    page.get_by_label("In which zone was the clock of the logger?").fill("America/Denver")
    page.get_by_label("°C", exact=True).last.check()
    page.get_by_label("mg/L", exact=True).last.check()
    fits(seen, size, "asked")
    page.get_by_role("button", name="Use these answers").first.click()
    if size == "phone":
        page.get_by_label("creek", exact=True).check()
        page.get_by_role("button", name="Use these answers").first.click()
    assert page.get_by_text("The file is understood.").is_visible()
    fits(seen, size, "understood")
    page.get_by_role("button", name="Start the import").click()
    assert page.get_by_role("progressbar").is_visible()
    fits(seen, size, "going")
    lab.service.importing.jobs.look()
    page.wait_for_selector("text=Imported.", timeout=20_000)
    fits(seen, size, "done")
    kept = len(lab.service.store.revisions.rows("REZN", Quantity.OXYGEN, 0, 2**62))
    words = f"{2 * kept} readings " + ("taken" if size == "phone" else "there already")
    assert page.get_by_text(words).is_visible()
    page.get_by_role("link", name="Charts of creek").click()
    page.wait_for_selector("body[data-drawn]", timeout=60_000)
    assert page.locator(".chart path.js-line").count() >= 2
    assert seen.complaints == []
    assert seen.hosts == {base.removeprefix("http://")}
    seen.context.close()
