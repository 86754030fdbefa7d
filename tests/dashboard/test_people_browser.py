"""The People page and the page behind a link in a real browser, on a phone and a desk, in the light and in the dark."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import pytest

from api.app import create_api
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
from tests.support.reach_room import PEOPLE, SITE, reach_room

pytestmark = IN_BROWSER


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, str]]:
    """Address, and the path of a link about two tanks; one phone is dead."""
    ladder = '\n[room.ladder]\ntest_at = "10:00"\n'
    with reach_room(tmp_path_factory.mktemp("room"), PEOPLE, ladder, "2026-09-21T09:55") as room:
        room.by.dead = {"cleo-phone"}
        room.turn(35, {"p1": 2.5, "p2": 20.0})
        body = next(body for name, _, body in reversed(room.by.sent) if name == "ana-phone" and "Answer" in body)
        found = re.search(rf"{SITE}(/a/\S+)", body)
        assert found is not None
        with served(join(create_api(room.service), room.service)) as base:
            yield base, found.group(1)


@pytest.mark.parametrize("path", ["/rehearsal", "/rehearsal?tank=t1&quantity=oxygen", "/morning", "/performance"])
def test_forms_and_tables_fit_a_phone(site: tuple[str, str], browser: Any, path: str) -> None:
    """No sideways scrolling, nothing to complain of."""
    seen = Watched(browser, "phone", "dark")
    seen.page.goto(site[0] + path)
    assert seen.page.evaluate("document.documentElement.scrollWidth") <= SIZES["phone"][0]
    assert [target for target in seen.page.evaluate(SMALL_TARGETS) if target[1] < LEAST_TARGET_PX] == []
    assert seen.complaints == []
    seen.context.close()


@pytest.mark.parametrize("look", ["light", "dark"])
@pytest.mark.parametrize("size", list(SIZES))
@pytest.mark.parametrize("name", ["people", "link"])
def test_pages_fit(site: tuple[str, str], browser: Any, name: str, size: str, look: str) -> None:
    """No sideways scrolling, no complaints, one host, targets large enough for a thumb."""
    base, link = site
    seen = Watched(browser, size, look)
    seen.page.goto(base + (link if name == "link" else "/people"))
    assert seen.page.evaluate("document.documentElement.scrollWidth") <= SIZES[size][0]
    assert [target for target in seen.page.evaluate(SMALL_TARGETS) if target[1] < LEAST_TARGET_PX] == []
    actions = seen.page.locator(".action, nav a")
    heights = [actions.nth(n).bounding_box()["height"] for n in range(actions.count())]
    assert min(heights) >= LEAST_ACTION_PX
    seen.page.screenshot(path=OUTPUT / f"{name}-{size}-{look}.png", full_page=True)
    assert seen.complaints == []
    assert seen.hosts == {base.removeprefix("http://")}
    seen.context.close()


@pytest.mark.parametrize("path", ["/people/person?name=Ana", "/morning", "/performance", "/alert/1"])
def test_other_night_pages_fit_a_phone_in_the_dark(site: tuple[str, str], browser: Any, path: str) -> None:
    """No sideways scrolling, no complaints, one host, large enough targets; an alert's chart is drawn."""
    base, _ = site
    seen = Watched(browser, "phone", "dark")
    seen.page.goto(base + path)
    if path.startswith("/alert/"):
        seen.page.wait_for_selector("body[data-drawn]")
    assert seen.page.evaluate("document.documentElement.scrollWidth") <= SIZES["phone"][0]
    assert [target for target in seen.page.evaluate(SMALL_TARGETS) if target[1] < LEAST_TARGET_PX] == []
    seen.page.screenshot(path=OUTPUT / f"night{path.split('?')[0].replace('/', '-')}.png", full_page=True)
    assert seen.complaints == []
    assert seen.hosts == {base.removeprefix("http://")}
    seen.context.close()
