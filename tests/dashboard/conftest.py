"""What page tests share: the made-up room behind the whole app, and a browser's manners."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI

from api.app import create_api
from dashboard.app import join
from tests.dashboard.caller import Caller
from tests.dashboard.fake_service import FakeService
from tests.support.browser import ARGUMENTS, CHROMIUM, OUTPUT
from tests.support.rooms import TestRoom, room


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """A browser with a new, empty profile."""
    from playwright.sync_api import sync_playwright

    OUTPUT.mkdir(exist_ok=True)
    with sync_playwright() as tool:
        made = tool.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield made
        made.close()


@pytest.fixture
def service() -> FakeService:
    """The made-up room."""
    return FakeService()


@pytest.fixture
def client(service: FakeService) -> Iterator[Caller]:
    """A browser on this computer, no password set."""
    app = join(FastAPI(openapi_url=None), service)
    with Caller(app, accept="text/html") as made:
        yield made


@pytest.fixture
def lab(tmp_path: Path) -> Iterator[TestRoom]:
    """Two tanks."""
    with room(tmp_path) as one:
        yield one


@pytest.fixture
def site(lab: TestRoom) -> Iterator[Caller]:
    """A browser on the whole app."""
    app = join(create_api(lab.service), lab.service)
    with Caller(app, accept="text/html") as made:
        yield made


def csrf_of(page: str) -> str:
    """The token in a page's first form."""
    found = re.search(r'name="csrf" value="([0-9a-f]+)"', page)
    assert found is not None, "the page has no form token"
    return found.group(1)
