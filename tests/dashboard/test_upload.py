"""A file that comes with a form is written as it comes, and only when the form is ours (multipart, RFC 7578)."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from tests.dashboard.caller import Caller
from tests.dashboard.conftest import csrf_of
from tests.support.rooms import TestRoom

TEXT = b"time,temperature (Cel)\n2026-08-01T00:00:00Z,24.1\n2026-08-01T00:01:00Z,24.2\n"


class Usage(NamedTuple):
    """A disk."""

    total: int
    used: int
    free: int


@pytest.fixture
def arrived(lab: TestRoom) -> Path:
    """Where files come."""
    return lab.folder / "data" / "imports"


def _files(folder: Path) -> list[str]:
    return sorted(one.name for one in folder.rglob("*") if one.is_file()) if folder.exists() else []


def test_a_form_without_our_token_takes_no_byte(site: Caller, arrived: Path) -> None:
    """Neither without one, nor with another's, nor with one that comes after the file."""
    token = csrf_of(site.get("/import").text)
    for data, files in (
        ({}, {"file": ("a.csv", TEXT)}),
        ({"csrf": "0" * 64}, {"file": ("a.csv", TEXT)}),
    ):
        answer = site.post("/import", data=data, files=files)
        assert answer.status_code == 422
        assert "too old or not ours" in answer.text
    late = site.post("/import", files=[("file", ("a.csv", TEXT)), ("csrf", (None, token))])
    assert "too old or not ours" in late.text
    assert _files(arrived) == []
    assert site.get("/api/v1/imports").json() == []


def test_another_site_s_form_is_refused(site: Caller, arrived: Path) -> None:
    """Before its body is read."""
    for path in ("/import", "/api/v1/imports"):
        answer = site.post(path, files={"file": ("a.csv", TEXT)}, headers={"origin": "http://elsewhere.example"})
        assert answer.status_code == 403
    assert _files(arrived) == []


def test_only_where_files_are_taken(site: Caller) -> None:
    """Any other form is still small and of the plain kind."""
    assert site.post("/units", files={"file": ("a.csv", TEXT)}).status_code == 415
    assert site.post("/api/v1/events", files={"file": ("a.csv", TEXT)}).status_code == 415


def test_a_form_without_a_file(site: Caller, arrived: Path) -> None:
    """Nothing chosen, two files, no form at all, broken off: each is told, and nothing stays."""
    token = csrf_of(site.get("/import").text)
    chosen_none = site.post("/import", files=[("csrf", (None, token)), ("file", ("", b""))])
    assert "choose a file" in chosen_none.text
    two = [("csrf", (None, token)), ("file", ("a.csv", TEXT)), ("file", ("b.csv", TEXT))]
    assert "one file at a time" in site.post("/import", files=two).text
    kind = {"content-type": "multipart/form-data"}
    assert site.post("/api/v1/imports", content=TEXT, headers=kind).status_code == 422
    kind = {"content-type": "multipart/form-data; boundary=x"}
    broken = b'--x\r\ncontent-disposition: form-data; name="file"; filename="a.csv"\r\n\r\n1,2'
    answer = site.post("/api/v1/imports", content=broken, headers=kind)
    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"
    assert _files(arrived) == []


def test_a_file_too_large_for_the_disk(
    site: Caller, arrived: Path, monkeypatch: pytest.MonkeyPatch
) -> None:  # fmt: skip
    """Told with how much there is room for; what came of it goes."""
    token = csrf_of(site.get("/import").text)
    monkeypatch.setattr(shutil, "disk_usage", lambda path: Usage(10**9, 10**9 - 201_000_000, 201_000_000))
    answer = site.post("/import", data={"csrf": token}, files={"file": ("a.csv", b"x" * 3_000_000)})
    assert answer.status_code == 422
    assert "room for 1 MB" in answer.text

    def pieces() -> Iterator[bytes]:
        yield b'--x\r\ncontent-disposition: form-data; name="file"; filename="a.csv"\r\n\r\n'
        for _ in range(30):
            yield b"1,2\n" * 25_000
        yield b"\r\n--x--\r\n"

    free = iter([10**9, 201_000_000, 200_500_000, 100_000_000, *[100_000_000] * 50])
    monkeypatch.setattr(shutil, "disk_usage", lambda path: Usage(10**9, 0, next(free)))
    kind = {"content-type": "multipart/form-data; boundary=x"}
    grown = _streamed(site, pieces, kind)
    assert grown.status_code == 422
    assert "stay free for readings" in grown.text
    assert _files(arrived) == []


def _streamed(site: Caller, pieces: Any, kind: dict[str, str]) -> Any:
    async def content() -> Any:
        for piece in pieces():
            yield piece

    return site.post("/api/v1/imports", content=content(), headers=kind)


def test_names_are_only_names(site: Caller, arrived: Path) -> None:
    """A path in a name leads nowhere."""
    answer = site.post("/api/v1/imports", files={"file": ("../../etc/Tänk 1;.csv", TEXT)})
    assert answer.status_code == 201, answer.text
    assert answer.json()["file"] == "Tänk 1;.csv"
    assert _files(arrived) == ["Tänk 1_.csv"]
