"""The pages in a real browser: on a phone and a desk, in the light and in the dark, by tap and on paper."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI

from dashboard.app import join
from dashboard.live import Live
from tests.dashboard.fake_service import FakeService
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

pytestmark = IN_BROWSER


@pytest.fixture(scope="module")
def site() -> Iterator[tuple[str, FakeService]]:
    """The made-up room behind a real server."""
    service = FakeService()
    app = join(FastAPI(openapi_url=None), service)
    app.state.live = Live(look_s=0.1)
    with served(app) as base:
        yield base, service


@pytest.mark.parametrize("look", ["light", "dark"])
@pytest.mark.parametrize("size", list(SIZES))
@pytest.mark.parametrize(
    ("name", "path"), [("room", "/"), ("tank", "/tank/a2"), ("alerts", "/alerts"), ("numbers", "/numbers")]
)
def test_pages_fit_are_quiet_and_ask_nobody_else(
    site: tuple[str, FakeService], browser: Any, name: str, path: str, size: str, look: str
) -> None:
    """No sideways scrolling, no complaints, one host, targets large enough; pictures are kept to be looked at."""
    base, _ = site
    seen = Watched(browser, size, look)
    seen.page.goto(base + path)
    if name == "tank":
        seen.page.wait_for_selector("body[data-drawn]", timeout=60_000)
        assert seen.page.locator(".chart.failed").count() == 0
        assert seen.page.locator(".chart.js-plotly-plot").count() == 2
        assert seen.page.locator(".chart path.js-line").count() >= 2
    seen.page.evaluate("document.querySelectorAll('.fold').forEach((one) => { one.open = true })")
    assert seen.page.evaluate("document.documentElement.scrollWidth") <= SIZES[size][0]
    small = [target for target in seen.page.evaluate(SMALL_TARGETS) if target[1] < LEAST_TARGET_PX]
    assert small == []
    actions = seen.page.locator(".action, nav a, nav button, .spans a")
    assert min(actions.nth(i).bounding_box()["height"] for i in range(actions.count())
               if actions.nth(i).is_visible()) >= LEAST_ACTION_PX  # fmt: skip
    ground = seen.page.evaluate("getComputedStyle(document.body).backgroundColor")
    assert (sum(int(part) for part in ground[4:-1].split(",")) < 150) == (look == "dark")
    seen.page.screenshot(path=OUTPUT / f"{name}-{size}-{look}.png", full_page=True)
    assert seen.complaints == []
    assert seen.hosts == {base.removeprefix("http://")}
    seen.context.close()


def test_an_alert_is_acknowledged_with_one_thumb(site: tuple[str, FakeService], browser: Any) -> None:
    """Tap, type a name once, tap: the call is gone, the name is kept for the next one."""
    base, service = site
    seen = Watched(browser, "phone", "dark")
    seen.page.goto(base + "/")
    first = seen.page.locator("#call-41")
    box = first.locator("summary").bounding_box()
    assert box is not None
    assert box["y"] + box["height"] < SIZES["phone"][1]
    first.locator("summary").tap()
    first.get_by_label("Your name").fill("Noor")
    seen.page.screenshot(path=OUTPUT / "acknowledge-phone-dark.png")
    first.get_by_role("button", name="I am seeing to it").tap()
    seen.page.wait_for_selector("#call-41", state="detached")
    assert service.records.acknowledged == [(41, "Noor", "")]
    seen.page.locator("#call-40 summary").tap()
    assert seen.page.locator("#call-40").get_by_label("Your name").input_value() == "Noor"
    assert seen.complaints == []
    seen.context.close()


def test_a_strip_is_renewed_without_loading_the_page(site: tuple[str, FakeService], browser: Any) -> None:
    """New words and a new order arrive by themselves; nothing moves while a finger is down, focus stays."""
    base, service = site
    before = service.read.now
    seen = Watched(browser, "phone", "dark")
    seen.page.goto(base + "/")
    seen.page.evaluate("window.notReloaded = true")
    calm = before.tanks[-1]
    seen.page.locator(f"#strip-{calm.tank.id} a").focus()
    seen.page.evaluate("dispatchEvent(new PointerEvent('pointerdown'))")
    news = replace(calm, words="oxygen falling, 40 min left")
    try:
        service.read.now = replace(before, tanks=(news, *before.tanks[:-1]))
        service.clock_ms += 2000
        seen.page.wait_for_timeout(600)
        assert "40 min left" not in seen.page.locator("#strips").inner_text()
        seen.page.evaluate("dispatchEvent(new PointerEvent('pointerup'))")
        seen.page.wait_for_selector("text=oxygen falling, 40 min left", timeout=5000)
        assert seen.page.locator("#strips > li").first.get_attribute("id") == f"strip-{calm.tank.id}"
        assert seen.page.evaluate("window.notReloaded") is True
        assert seen.complaints == []
    finally:
        service.read.now = before
        service.clock_ms += 2000
        seen.context.close()


def test_a_page_without_scripts_still_tells_everything(site: tuple[str, FakeService], browser: Any) -> None:
    """Words, readings and strips are in the page itself; charts are replaced by a link to their numbers."""
    base, _ = site
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(base + "/tank/a2")
    assert page.get_by_text("Latest readings").is_visible()
    numbers = page.locator("noscript a")
    assert numbers.count() == 2
    assert numbers.first.is_visible()
    context.close()


def test_the_room_on_paper(site: tuple[str, FakeService], browser: Any) -> None:
    """Printing is black on white even from a dark screen, and buttons stay away."""
    base, _ = site
    context = browser.new_context(color_scheme="dark", viewport={"width": 720, "height": 1000})
    page = context.new_page()
    page.goto(base + "/")
    page.emulate_media(media="print")
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    assert page.evaluate("getComputedStyle(document.body).color") == "rgb(0, 0, 0)"
    assert not page.locator("nav").is_visible()
    page.screenshot(path=OUTPUT / "room-print.png", full_page=True)
    page.pdf(path=OUTPUT / "room.pdf", format="A4")
    assert (OUTPUT / "room.pdf").stat().st_size > 10_000
    context.close()


def test_charts_are_light_on_paper_even_from_a_dark_screen(site: tuple[str, FakeService], browser: Any) -> None:
    """White ground behind the line, as the rest of the printed page."""
    base, _ = site
    seen = Watched(browser, "desk", "dark")
    seen.page.goto(base + "/tank/a2")
    seen.page.wait_for_selector("body[data-drawn]", timeout=60_000)
    ground = "getComputedStyle(document.querySelector('.chart .main-svg')).backgroundColor"
    assert seen.page.evaluate(ground) == "rgb(20, 23, 26)"
    seen.page.emulate_media(media="print")
    assert _comes_true(seen.page, f"{ground} === 'rgb(255, 255, 255)'")
    seen.page.screenshot(path=OUTPUT / "tank-print.png", full_page=True)
    seen.page.pdf(path=OUTPUT / "tank.pdf", format="A4")
    seen.page.emulate_media(media="screen")
    assert _comes_true(seen.page, f"{ground} === 'rgb(20, 23, 26)'")
    assert seen.complaints == []
    seen.context.close()


def test_a_page_that_hears_nothing_says_so(browser: Any) -> None:
    """When the service is gone the page says since when it stands still, and an open page does not hold it up."""
    code = (
        "import sys, uvicorn\nfrom fastapi import FastAPI\nfrom dashboard.app import join\n"
        "from tests.dashboard.fake_service import FakeService\n"
        "uvicorn.run(join(FastAPI(openapi_url=None), FakeService()), port=int(sys.argv[1]), log_level='warning')"
    )
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    environment = os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])}
    with subprocess.Popen([sys.executable, "-c", code, str(port)], env=environment) as served:
        _wait_until_open(port)
        seen = Watched(browser, "phone", "light")
        seen.page.clock.install()
        seen.page.goto(f"http://127.0.0.1:{port}/")
        seen.page.wait_for_function("document.querySelector('#head') !== null")
        time.sleep(0.5)
        served.terminate()
        start = time.monotonic()
        served.wait(10)
        assert time.monotonic() - start < 3
        seen.page.clock.run_for(50_000)
        seen.page.wait_for_selector("#lost:not([hidden])", timeout=5000)
        assert "this page stands still since 03:10" in seen.page.locator("#lost").inner_text()
        seen.context.close()


def _comes_true(page: Any, words: str) -> bool:
    """Waits from outside: the page's own policy forbids the browser tool to wait inside."""
    for _ in range(50):
        if page.evaluate(words):
            return True
        page.wait_for_timeout(100)
    return False


def _wait_until_open(port: int) -> None:
    end = time.monotonic() + 20
    while time.monotonic() < end:
        with socket.socket() as caller:
            if caller.connect_ex(("127.0.0.1", port)) == 0:
                return
        time.sleep(0.05)
    raise AssertionError("the service did not open its port")
