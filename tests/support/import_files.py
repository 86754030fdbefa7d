"""Files of an invented logger for tests of imports, and a keeper who answers what is asked of them."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from pathlib import Path

from api.domain.import_job import ImportJob, JobState, Source
from api.services.import_folder import digest_of, given_file
from api.services.import_look import Understood
from api.services.imports import Given, Imports

START = datetime(2026, 8, 1, tzinfo=UTC)
ANSWERS = {"zone": "UTC", "probe": "logger-1", "tank:logger-1": "t1"}


def text_of(rows: int, start: datetime = START, warmer_c: float = 0.0) -> str:
    """A row a minute of temperature and oxygen; units stand in the header, times are UTC and say so."""
    lines = ["time,temperature (Cel),oxygen (mg/L)"]
    for at in range(rows):
        moment = start + timedelta(minutes=at)
        lines.append(
            f"{moment:%Y-%m-%dT%H:%M:%SZ},{24 + warmer_c + (at % 20) / 40:.3f},{8 - (at % 30) / 60:.3f}"
        )  # fmt: skip
    return "\n".join(lines) + "\n"


def written(path: Path, rows: int, start: datetime = START, warmer_c: float = 0.0) -> Path:
    """The same in a file."""
    path.write_text(text_of(rows, start, warmer_c), encoding="utf-8")
    return path


def answers_of(seen: Understood, answers: Mapping[str, str] = ANSWERS) -> dict[str, str]:
    """What a keeper answers: what is known, else what is suggested."""
    return {one.key: answers.get(one.key) or one.suggestion or "" for one in seen.questions if one.must}


def added(desk: Imports, path: Path, recipe: str = "") -> ImportJob:
    """A file brought to the desk, everything asked answered."""
    file = given_file(path, path.name, digest_of(path), ours=False)
    job = desk.add(file, Given(Source.PAGE, "Noor", None, recipe))
    for _ in range(3):
        if job.state is JobState.ASKING:
            job = desk.answer(job.id, answers_of(desk.understood(job)))
    return job
