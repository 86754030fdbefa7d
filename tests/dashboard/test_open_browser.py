"""Every form of every page opened on a phone: nothing wider than the screen, every field high enough for a thumb."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from api.app import create_api
from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from dashboard.app import join
from tests.support.browser import IN_BROWSER, LEAST_ACTION_PX, SIZES, Watched, served
from tests.support.colony import settle
from tests.support.rooms import TestRoom, room

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
def lab(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestRoom]:
    """The test room after a day of readings, with an animal."""
    with room(tmp_path_factory.mktemp("open")) as made:
        settle(made, "Ada", "t1", days_ago=30, carapace_mm=20.0)
        for minute in range(30):
            made.minute(7.0 if minute < 10 else 4.0)
        yield made


@pytest.fixture(scope="module")
def address(lab: TestRoom) -> Iterator[str]:
    """Where it is served."""
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


OVERLAPS = """() => [...document.querySelectorAll(".reading")].filter((e) => {
  const label = e.querySelector(".label").getBoundingClientRect();
  const number = e.querySelector(".amount")?.getBoundingClientRect();
  return number && (number.right > e.getBoundingClientRect().right + 1
    || (label.right > number.left && label.bottom > number.top + 2 && number.bottom > label.top + 2));
}).length"""


def test_no_number_is_printed_over_a_word(address: str, browser: Any) -> None:
    """On screens from a small phone to a desk, and on paper."""
    page = browser.new_page()
    page.goto(address)
    assert page.locator(".reading .amount").count() > 1
    found = {}
    paper = (("print", width) for width in (718, 794, 816, 1123))
    screens = (("screen", width) for width in (320, 360, 390, 430, 620, 720, 900, 960, 1100, 1280, 1500))
    for media, width in (*screens, *paper):
        page.emulate_media(media=media)
        page.set_viewport_size({"width": width, "height": 900})
        found[media, width] = page.evaluate(OVERLAPS)
    page.close()
    assert {at: many for at, many in found.items() if many} == {}


def test_what_was_chosen_stays_when_the_page_is_made_fresh(lab: TestRoom, address: str, browser: Any) -> None:
    """A tank for a probe nobody claimed, chosen and left for a moment while the probe speaks again."""

    def say(value: float) -> None:
        lab.now_ms += 60_000
        lab.take(RawReading("stray-7", Quantity.TEMPERATURE, lab.now_ms, value, "Cel"))

    say(21.3)
    page = browser.new_page()
    page.goto(address)
    choice = page.locator("form.claim select").first
    choice.select_option("t2")
    choice.blur()
    say(23.8)
    page.locator("#unclaimed .number", has_text="23.8").wait_for(timeout=15_000)
    assert choice.input_value() == "t2"
    page.close()
