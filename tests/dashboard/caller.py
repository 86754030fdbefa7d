"""A browser without a window: calls an app in this process, keeps cookies, follows nothing by itself."""

from __future__ import annotations

import asyncio
from types import TracebackType
from typing import Any

import httpx
from starlette.types import ASGIApp


class Caller:
    """Plain calls over an in-process transport; one event loop for its lifetime."""

    def __init__(self, app: ASGIApp, base_url: str = "http://localhost", accept: str = "*/*") -> None:
        self._runner = asyncio.Runner()
        transport = httpx.ASGITransport(app, raise_app_exceptions=False)
        self._client = httpx.AsyncClient(transport=transport, base_url=base_url, headers={"accept": accept})

    def __enter__(self) -> Caller:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._runner.run(self._client.aclose())
        self._runner.close()

    @property
    def cookies(self) -> httpx.Cookies:
        """What the browser keeps."""
        return self._client.cookies

    def request(self, method: str, path: str, **how: Any) -> httpx.Response:
        """One call."""
        return self._runner.run(self._client.request(method, path, **how))

    def get(self, path: str, **how: Any) -> httpx.Response:
        """GET."""
        return self.request("GET", path, **how)

    def post(self, path: str, **how: Any) -> httpx.Response:
        """POST."""
        return self.request("POST", path, **how)
