"""The command that reads animals in and writes them out: exit codes, words, and the running service beside it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from api.cli import main
from tests.support.colony import settle
from tests.support.rooms import TestRoom, room


@pytest.fixture
def lab(tmp_path: Path) -> Iterator[TestRoom]:
    """Two tanks, and the service at work."""
    with room(tmp_path) as one:
        yield one


def run(lab: TestRoom, *words: str) -> int:
    """The command, on that room."""
    return main(["animals", *words, "--room", str(lab.folder / "room.toml"), "--data", str(lab.folder / "data")])


def test_in_and_out_while_the_service_runs(lab: TestRoom, capsys: pytest.CaptureFixture[str]) -> None:
    """1 with lines and reasons when rows were not taken; what was taken is seen by the service at once."""
    settle(lab, "Old")
    file = lab.folder / "colony.csv"
    file.write_text("name,tank,species\nAda,t1,Procambarus clarkii\nBo,t9,\nCy,t2,\n", encoding="utf-8")
    assert run(lab, "import", str(file), "--person", "Noor") == 1
    said = capsys.readouterr()
    assert f"{file}, line 3: not taken: there is no tank 't9'" in said.err
    assert "line 4: No species is given" in said.out
    assert "2 entered, 0 described anew, 0 as before, 1 not taken" in said.out
    assert [life.animal.name for life in lab.service.lives.all().values()] == ["Old", "Ada", "Cy"]
    assert lab.service.store.animals.versions(2)[0].entered_by == "Noor"
    out = lab.folder / "out.csv"
    assert run(lab, "export", str(out)) == 0
    assert run(lab, "import", str(out)) == 0
    assert "0 entered, 0 described anew, 3 as before, 0 not taken" in capsys.readouterr().out
    assert run(lab, "export", "--events") == 0
    assert capsys.readouterr().out.count(",moved,") == 3


@pytest.mark.parametrize(
    ("words", "content", "said"),
    [
        (("import",), b"", "columns, in any order"),
        (("import", "none.csv"), b"", "cannot read none.csv: No such file"),
        (("import", "FILE"), b"tag\nAda\n", "no column 'name'"),
        (("import", "FILE"), b"name\n\xffAda\n", "not UTF-8"),
        (("export", "/no/such/folder/out.csv"), b"", "cannot write"),
        (("export", "FILE"), b"years of notes", "is there already"),
        (("export", "--events", "FILE"), b"years of notes", "is there already"),
    ],
)
def test_files_that_cannot_be_used(
    lab: TestRoom, capsys: pytest.CaptureFixture[str], words: tuple[str, ...], content: bytes, said: str
) -> None:
    """2, and what to do."""
    file = lab.folder / "in.csv"
    file.write_bytes(content)
    assert run(lab, *(str(file) if word == "FILE" else word for word in words)) == 2
    assert said in capsys.readouterr().err
    assert file.read_bytes() == content


def test_a_folder_without_records(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Its tanks are not known, so nothing is taken."""
    assert main(["animals", "export", "--data", str(tmp_path)]) == 2
    assert "start Intermolt once" in capsys.readouterr().err
