"""The import pages without a script: a file is looked at, asked about, started, told of; rubbish is said to be that."""

from __future__ import annotations

import re
import zipfile
from html import unescape
from io import BytesIO
from pathlib import Path

import httpx
import pytest

from api.domain.import_job import ImportJob, JobState
from api.domain.quantity import Quantity
from api.services.keepers import Keepers
from tests.dashboard.caller import Caller
from tests.dashboard.conftest import csrf_of
from tests.support.import_files import text_of
from tests.support.rooms import TestRoom

ROWS = 30


@pytest.fixture
def lab(lab: TestRoom) -> TestRoom:
    """Two tanks; what came late is gone over at once."""
    lab.service.importing.alone()
    return lab


class Keeper:
    """Someone at the pages."""

    def __init__(self, site: Caller, lab: TestRoom) -> None:
        self.site, self.lab = site, lab
        self.token = csrf_of(site.get("/import").text)

    def sends(self, name: str, content: bytes | str, recipe: str = "") -> httpx.Response:
        """Choose a file and send it."""
        body = content.encode() if isinstance(content, str) else content
        answer = self.site.post("/import", data={"csrf": self.token, "recipe": recipe}, files={"file": (name, body)})
        return self.site.get(answer.headers["location"]) if answer.status_code == 303 else answer

    def does(self, job: int, step: str, **fields: str) -> httpx.Response:
        """A button of an import's page; the page it leads to."""
        answer = self.site.post(f"/import/{job}/{step}", data={"csrf": self.token, **fields})
        return self.site.get(answer.headers["location"]) if answer.status_code == 303 else answer

    def answers(self, job: int, **answers: str) -> httpx.Response:
        """Fill in questions."""
        return self.does(
            job, "answers", **{f"answer:{key.replace('__', ':')}": value for key, value in answers.items()}
        )

    def job(self, number: int = 1) -> ImportJob:
        """An import."""
        return self.lab.service.imports.job(number)

    def imports(self) -> None:
        """The service's round."""
        self.lab.service.importing.jobs.look()

    def kept(self) -> int:
        """Temperatures of the invented logger."""
        return len(self.lab.service.store.revisions.rows("logger-1", Quantity.TEMPERATURE, 0, 2**62))


@pytest.fixture
def keeper(site: Caller, lab: TestRoom) -> Keeper:
    """Someone who has the page open."""
    return Keeper(site, lab)


def said(page: httpx.Response) -> str:
    """What a page says is wrong."""
    found = re.search(r'class="wrong"[^>]*>(.*?)</p>', page.text, re.DOTALL)
    return unescape(found.group(1)) if found else ""


def test_from_file_to_chart(keeper: Keeper) -> None:
    """Looked at, asked, answered, started, done; nothing is kept before it is started."""
    page = keeper.sends("august.csv", text_of(ROWS))
    assert "temperature (Cel)" in page.text
    assert "Start the import" not in page.text
    assert keeper.does(1, "start").status_code == 422
    keeper.answers(1, probe="logger-1")
    page = keeper.answers(1, **{"tank__logger-1": "t1"})
    assert "The file is understood" in page.text
    assert "is a new probe, in t1" in re.sub(r"</?b>", "", page.text)
    assert keeper.kept() == 0
    page = keeper.does(1, "start")
    assert "waits for its turn" in page.text
    assert 'http-equiv="refresh"' in page.text
    keeper.imports()
    page = keeper.site.get("/import/1")
    assert "Imported." in page.text
    assert f"{2 * ROWS} readings taken, of {ROWS} rows" in page.text
    links = [unescape(one) for one in re.findall(r'href="(/tank/t1\?[^"]+|/report\?[^"]+)"', page.text)]
    assert len(links) == 2
    assert all(keeper.site.get(one).status_code == 200 for one in links)
    assert keeper.kept() == ROWS
    assert not (keeper.lab.folder / "data" / "imports" / "august.csv").exists()
    assert "august.csv" in keeper.site.get("/import").text


def test_taken_twice(keeper: Keeper) -> None:
    """The second time everything is there already, and no question is asked that was answered."""
    for number in (1, 2):
        keeper.sends("august.csv", text_of(ROWS))
        keeper.answers(number, probe="logger-1")
        if number == 1:
            keeper.answers(number, **{"tank__logger-1": "t1"})
        keeper.does(number, "start")
        keeper.imports()
    assert (keeper.job(2).counts.accepted, keeper.job(2).counts.duplicate) == (0, 2 * ROWS)
    assert keeper.kept() == ROWS


def test_another_value_stays_out_and_is_in_the_file(keeper: Keeper) -> None:
    """Told with its number; the file names line, column and what is kept."""
    for number, text in ((1, text_of(ROWS)), (2, text_of(ROWS, warmer_c=1.0) + "2026-08-03T00:00:00Z,=1+1,8.0\n")):
        keeper.sends("august.csv", text)
        keeper.answers(number, probe="logger-1")
        if number == 1:
            keeper.answers(number, **{"tank__logger-1": "t1"})
        keeper.does(number, "start")
        keeper.imports()
    page = keeper.site.get("/import/2").text
    assert f"{ROWS} readings with another value" in page
    refused = keeper.site.get("/import/2/refused.csv")
    assert refused.headers["content-type"].startswith("text/csv")
    lines = refused.text.splitlines()
    assert lines[0] == "line,column,reason,text"
    assert len(lines) == ROWS + 2
    assert lines[1].startswith("2,logger-1/temperature,")
    assert lines[-1].endswith("'=1+1")
    assert keeper.site.get("/import/1/refused.csv").status_code == 404


def test_a_tank_that_is_not_there(keeper: Keeper) -> None:
    """A clear word, with those that are; what was typed stays in the form."""
    keeper.sends("august.csv", text_of(ROWS))
    keeper.answers(1, probe="logger-1")
    page = keeper.answers(1, **{"tank__logger-1": "t9"})
    assert page.status_code == 422
    assert said(page) == "tank of logger-1: there is no tank 't9'; known: t1, t2."
    page = keeper.answers(1, probe="a b")
    assert "cannot be a probe's name" in said(page)


def test_an_understanding_kept_by_name(keeper: Keeper) -> None:
    """The next file of the same kind asks nothing; another kind is told; it can be forgotten."""
    keeper.sends("august.csv", text_of(ROWS))
    keeper.answers(1, probe="logger-1")
    assert "cannot be kept" in said(keeper.does(1, "keep", name="shelf"))
    keeper.answers(1, **{"tank__logger-1": "t1"})
    keeper.does(1, "keep", name="shelf")
    page = keeper.sends("september.csv", text_of(ROWS), "shelf")
    assert "The file is understood" in page.text
    other = keeper.sends("other.csv", "when,depth (cm)\n2026-08-01T00:00:00Z,1\n", "shelf")
    assert other.status_code == 422
    assert "lacks the column" in said(other)
    keeper.site.post("/imports/recipes/forget", data={"csrf": keeper.token, "name": "shelf"})
    assert keeper.lab.service.imports.recipes() == []


def test_cancelled_before_it_began_and_begun_after_all(keeper: Keeper) -> None:
    """Cancelled, gone on with; its file's copy is deleted when a keeper says so."""
    keeper.sends("august.csv", text_of(ROWS))
    keeper.answers(1, probe="logger-1")
    keeper.answers(1, **{"tank__logger-1": "t1"})
    keeper.does(1, "start")
    assert "nothing of it was kept" in keeper.does(1, "cancel").text
    keeper.imports()
    assert keeper.kept() == 0
    keeper.does(1, "start")
    keeper.imports()
    assert (keeper.job().state, keeper.kept()) == (JobState.DONE, ROWS)
    keeper.sends("other.csv", text_of(5))
    path = Path(keeper.job(2).file.path)
    assert path.exists()
    page = keeper.does(2, "forget")
    assert not path.exists()
    assert "the copy of its file is deleted; nothing of it was kept" in page.text
    assert "Go on where it stopped" not in page.text


def test_stopped_while_a_question_was_open(keeper: Keeper) -> None:
    """Going on asks it again, on the same page; units are written as people write them."""
    page = keeper.sends("august.csv", text_of(5))
    assert " °C, " in page.text
    assert " Cel, " not in page.text
    keeper.lab.service.imports.cancel(1)
    page = keeper.does(1, "start")
    assert "answer what is asked first" in said(page)
    assert "One question first" in page.text
    keeper.answers(1, probe="logger-1")
    keeper.answers(1, **{"tank__logger-1": "t1"})
    keeper.does(1, "start")
    keeper.imports()
    assert (keeper.job().state, keeper.kept()) == (JobState.DONE, 5)


def test_a_probe_of_a_file_does_not_speak_now(keeper: Keeper) -> None:
    """The list of probes says when it said that, and asks for no calibration of a logger in a drawer."""
    keeper.sends("august.csv", text_of(5))
    keeper.answers(1, probe="logger-1")
    keeper.answers(1, **{"tank__logger-1": "t1"})
    keeper.does(1, "start")
    keeper.imports()
    page = keeper.site.get("/probes").text
    line = page[page.index('href="/probe/logger-1"') :].split("</tr>")[0]
    assert "read from a file, not compared" in line
    assert "every 30 days" not in line
    assert re.search(r"°C, at <time[^>]+>1 Aug 00:0\d</time>", line), line
    assert "Said last" in keeper.site.get("/probe/logger-1").text


def bomb() -> bytes:
    """A workbook of 600 MB of zeros in half a megabyte."""
    out = BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as made:
        made.writestr("[Content_Types].xml", "<Types/>")
        with made.open("xl/worksheets/sheet1.xml", "w", force_zip64=True) as sheet:
            for _ in range(600):
                sheet.write(bytes(1_000_000))
    return out.getvalue()


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("empty.csv", b""),
        ("header.csv", b"time,temperature (Cel)\n"),
        ("photo.csv", b"\xff\xd8\xff\xe0" + bytes(range(256)) * 40),
        ("words.csv", b"dear diary\nthe water was fine\n"),
        ("bomb.xlsx", bomb()),
        ("not.xlsx", b"time,temperature (Cel)\n2026-08-01T00:00:00Z,24\n"[:20]),
        ("broken.parquet", b"PAR1" + bytes(50) + b"PAR1"),
    ],
    ids=lambda one: one if isinstance(one, str) else "",
)
def test_rubbish(keeper: Keeper, name: str, content: bytes) -> None:
    """Said to be what it is, by the file's own name; nothing stays of it."""
    page = keeper.sends(name, content)
    assert page.status_code == 422, page.text
    assert said(page).startswith(name)
    assert keeper.lab.service.imports.jobs() == []
    folder = keeper.lab.folder / "data" / "imports"
    assert [one for one in folder.rglob("*") if one.is_file()] == []


def test_who_is_not_signed_in_sees_and_sends_nothing(keeper: Keeper, lab: TestRoom) -> None:
    """With a password set."""
    Keepers(lab.service.store, lab.folder / "data").set_password("Noor", "a long enough password", lab.now_ms)
    assert keeper.site.get("/import").status_code == 303
    answer = keeper.site.post("/import", data={"csrf": keeper.token}, files={"file": ("a.csv", text_of(3).encode())})
    assert answer.status_code in (303, 401)
    assert keeper.site.post("/api/v1/imports", files={"file": ("a.csv", b"x")}).status_code == 401
    assert lab.service.imports.jobs() == []
