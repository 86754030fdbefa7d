"""Every form of every page opened on a phone: nothing wider than the screen, every field high enough for a thumb."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from api.app import create_api
from dashboard.app import join
from tests.support.browser import IN_BROWSER, LEAST_ACTION_PX, SIZES, Watched, served
from tests.support.colony import settle
from tests.support.rooms import room

pytestmark = IN_BROWSER
PAGES = (
    "/", "/alerts", "/probes", "/probe/p1", "/tank/t1", "/tank/t1/log", "/tank/t1/air", "/grace", "/calendar",
    "/review", "/report?tank=t1", "/rehearsal?tank=t1", "/care", "/care/warm-water", "/animals", "/people",
    "/people/person", "/import", "/performance", "/morning", "/labels",
)  # fmt: skip
LOW_FIELDS = """() => [...document.querySelectorAll("input:not([type=hidden]), select, textarea, button")]
  .filter((e) => e.checkVisibility())
  .map((e) => [e.outerHTML.slice(0, 80), (e.closest("label.pick-one") || e).getBoundingClientRect().height])"""


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The test room after a day of readings, with an animal."""
    with room(tmp_path_factory.mktemp("open")) as lab:
        settle(lab, "Ada", "t1", days_ago=30, carapace_mm=20.0)
        for minute in range(30):
            lab.minute(7.0 if minute < 10 else 4.0)
        with served(join(create_api(lab.service), lab.service)) as base:
            yield base


def test_no_open_form_is_wider_than_a_phone(address: str, browser: Any) -> None:
    """All pages that hold forms, every fold open."""
    seen = Watched(browser, "phone", "light")
    wide, low = [], []
    for path in PAGES:
        seen.page.goto(address + path)
        seen.page.evaluate("document.querySelectorAll('details').forEach((one) => (one.open = true))")
        width = seen.page.evaluate("document.documentElement.scrollWidth")
        if width > SIZES["phone"][0]:
            wide.append((path, width))
        low += [(path, *one) for one in seen.page.evaluate(LOW_FIELDS) if one[1] < LEAST_ACTION_PX - 0.5]
    seen.context.close()
    assert wide == []
    assert low == []
