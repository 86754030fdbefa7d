"""The service as the collector sees it: readings handed over, a status report, and every failure as our own error.

Must not do: retry, wait, or decide what happens to a reading.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol
from urllib.parse import quote

import httpx

from api.domain.reading import RawReading
from api.domain.senml import MEDIA_TYPE, encode
from collector.errors import PackRefused, PackTooLarge, ServiceTrouble

TOKEN_FILE = "collector.token"  # noqa: S105 a file's name, not the token
TIMEOUT = httpx.Timeout(30.0, connect=5.0, pool=5.0)


@dataclass(frozen=True, slots=True)
class Answer:
    """What the service did with readings: ``refused`` are places among them, with reasons.

    ``later`` are places of readings that it will have when one of the two clocks is right, with reasons.
    ``unanswered`` are the places, never all of them, that it did not take for the reason in ``trouble``.
    """

    accepted: int
    duplicate: int
    refused: tuple[tuple[int, str], ...]
    unanswered: tuple[int, ...] = ()
    trouble: ServiceTrouble | PackRefused | None = None
    later: tuple[tuple[int, str], ...] = ()


class Upstream(Protocol):
    """A way to the service. ``packs`` is how many packs' readings of a backlog it takes at once."""

    packs: int

    def post(self, readings: Sequence[RawReading]) -> Answer:
        """Hand readings over and wait until the service says they are stored.

        Raises ServiceTrouble when it should be tried again, PackTooLarge and PackRefused when not as it is.
        """

    def put_status(self, name: str, document: dict[str, Any]) -> Any:
        """Report how the collector is; the service's answer. Raises ServiceTrouble."""

    def close(self) -> None:
        """Close the connection."""


class Service:
    """One kept HTTP connection to the service: an ``Upstream``. What it is given goes in one request."""

    packs = 5

    def __init__(self, url: str, data: Path, timeout: httpx.Timeout = TIMEOUT) -> None:
        self._token_path = data / TOKEN_FILE
        self._token = ""
        # no proxy from the environment: the service is in this room, and its token is not for others
        self._client = httpx.Client(base_url=url, timeout=timeout, trust_env=False, follow_redirects=False)

    def post(self, readings: Sequence[RawReading]) -> Answer:
        """Hand over a pack.

        Raises ServiceTrouble when it should be tried again, PackTooLarge and PackRefused when not as it is.
        """
        headers = {"Content-Type": MEDIA_TYPE}
        response = self._send("POST", "/api/v1/readings", encode(readings), headers)
        status = response.status_code
        if status == 200:
            return answer_of(_json(response), len(readings))
        raise failure(status, _words(response))

    def put_status(self, name: str, document: dict[str, Any]) -> Any:
        """Report how the collector is; the service's answer, None when it says nothing.

        Raises ServiceTrouble.
        """
        headers = {"Content-Type": "application/json"}
        path = f"/api/v1/collectors/{quote(name, safe='')}"
        response = self._send("PUT", path, json.dumps(document).encode(), headers)
        if not response.is_success:
            raise ServiceTrouble(_words(response), response.status_code)
        return _json(response) if response.content else None

    def _send(self, method: str, path: str, body: bytes, headers: dict[str, str]) -> httpx.Response:
        if not self._token:
            self._read_token()
        response = self._once(method, path, body, headers)
        if response.status_code == 401:
            before = self._token
            self._read_token()
            if self._token != before:
                response = self._once(method, path, body, headers)
        return response

    def _once(self, method: str, path: str, body: bytes, headers: dict[str, str]) -> httpx.Response:
        bearer = {"Authorization": f"Bearer {self._token}"}
        try:
            return self._client.request(method, path, content=body, headers=headers | bearer)
        except (httpx.HTTPError, httpx.InvalidURL, httpx.StreamError) as error:
            raise ServiceTrouble(f"{self._client.base_url} does not answer: {error or type(error).__name__}") from error
        except RuntimeError as error:
            raise ServiceTrouble("the connection was closed by ourselves") from error

    def _read_token(self) -> None:
        try:
            token = self._token_path.read_text(encoding="ascii").strip()
        except (OSError, UnicodeDecodeError) as error:
            what = f"waiting for {self._token_path}, which the service writes when it first starts"
            raise ServiceTrouble(what, 401) from error
        if not (token and token.isprintable()):
            raise ServiceTrouble(f"{self._token_path} holds no token yet", 401)
        self._token = token

    def close(self) -> None:
        """Close the connection."""
        self._client.close()


def failure(status: int, words: str) -> ServiceTrouble | PackRefused:
    """The error that an answer's status stands for, with the service's own words."""
    if status == 413:
        return PackTooLarge(words, status)
    if status in (400, 422):
        return PackRefused(words, status)
    return ServiceTrouble(words, status)


def answer_of(body: Any, sent: int) -> Answer:
    """The answer, only when it accounts for every reading: readings are deleted because of it.

    Raises ServiceTrouble otherwise.
    """
    try:
        accepted, duplicate = _whole(body["accepted"]), _whole(body["duplicate"])
        reasons = {_whole(item["index"]): str(item["reason"]) for item in body["refused"]}
        waits = {_whole(item["index"]) for item in body["refused"] if item.get("later") is True}
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise ServiceTrouble("answered 200, but not as our service does; is another program there?", 200) from error
    if accepted + duplicate + len(reasons) < sent or any(index >= sent for index in reasons):
        raise ServiceTrouble(f"answered for {accepted + duplicate + len(reasons)} of {sent} readings", 200)
    refused = tuple((index, why) for index, why in sorted(reasons.items()) if index not in waits)
    return Answer(accepted, duplicate, refused, later=tuple((index, reasons[index]) for index in sorted(waits)))


def _json(response: httpx.Response) -> Any:
    try:
        return response.json()
    except ValueError:
        return None  # whoever answered so is not our service, as answer_of says


def _whole(value: Any) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or value < 0:
        raise ValueError(f"{value!r} is no count")
    return value


def _words(response: httpx.Response) -> str:
    """Why, in the service's own words (RFC 9457 ``detail``) when it gave some."""
    detail = ""
    try:
        body = response.json()
        if isinstance(body, dict):
            detail = str(body.get("detail") or body.get("title") or "")
    except ValueError:
        pass  # a body that is no JSON says nothing more than the status does
    return f"{response.request.url.host} answered {response.status_code}" + (f": {detail[:300]}" if detail else "")
