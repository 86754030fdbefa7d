"""Imports as pages show them: the file as understood, questions as fields, how far it is, what became of it.

Must not do: decide what a file means (``api``).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any
from urllib.parse import quote, urlencode

from api.domain.import_job import FORGOTTEN, OPEN, STOPPED, UNDER_WAY, ImportJob, JobState
from api.domain.quantity import MEANING, Quantity
from api.services.import_look import Understood
from api.services.import_words import STATE_WORDS, ending, outcome, progress, unit_words
from api.services.plan import RoomPlan
from dashboard.clock import Clock, Moment

FIRST_ROWS = 8
FEW = 6
"""So many choices are shown side by side; more are a list to choose from."""
MINUTE_MS = 60_000
MARKS = {
    JobState.ASKING: "today", JobState.READY: "note", JobState.WAITING: "note", JobState.READING: "tolerable",
    JobState.DONE: "target", JobState.CANCELLED: "note", JobState.FAILED: "danger",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class JobView:
    """One import. ``kind`` is open, going, over or stopped."""

    id: int
    name: str
    size: str
    state: str
    mark: str
    kind: str
    source: str
    person: str
    created: Moment
    ended: Moment | None
    share: int
    progress: str
    stopping: bool
    words: str
    outcome: tuple[str, ...]
    span: str
    refusals: str
    charts: tuple[tuple[str, str], ...]
    report: str
    recipe: str
    late: bool


@dataclass(frozen=True, slots=True)
class QuestionView:
    """One question; ``way`` is pick (few choices), list (many) or text; ``known`` are names to choose from."""

    key: str
    field: str
    text: str
    why: str
    way: str
    choices: tuple[tuple[str, str], ...]
    known: tuple[tuple[str, str], ...]
    value: str
    must: bool


def job_view(job: ImportJob, plan: RoomPlan, clock: Clock) -> JobView:
    """One import."""
    kind = "open" if job.state in OPEN else "going" if job.state in UNDER_WAY else "over"
    tanks = _tanks(job, plan)
    span = _span(job, clock)
    return JobView(
        id=job.id,
        name=job.file.name,
        size=size_words(job.file.size),
        state=STATE_WORDS[job.state],
        mark=MARKS[job.state],
        kind="stopped" if job.state in STOPPED and job.words != FORGOTTEN else kind,
        source=job.source,
        person=job.person,
        created=clock.moment(job.created_ms),
        ended=clock.maybe(job.ended_ms),
        share=round(100 * job.pace.share),
        progress=progress(job),
        stopping=job.stop,
        words=ending(job),
        outcome=tuple(outcome(job)) if job.started_ms is not None else (),
        span=_span_words(job, clock),
        refusals=f"/import/{job.id}/refused.csv" if job.report_bytes else "",
        charts=tuple((name, f"/tank/{quote(tank, safe='')}?{urlencode(span)}") for tank, name in tanks) if span else (),
        report=_report(tanks, span),
        recipe=job.recipe_name,
        late=job.found_late > 0,
    )


def _tanks(job: ImportJob, plan: RoomPlan) -> list[tuple[str, str]]:
    found = {probe.tank: plan.tanks[probe.tank].name for one in job.probes
             if (probe := plan.probes.get(one)) is not None and probe.tank in plan.tanks}  # fmt: skip
    return [(tank or "", name) for tank, name in found.items()]


def _span(job: ImportJob, clock: Clock) -> dict[str, str]:
    if job.first_ms is None or job.last_ms is None:
        return {}
    end_ms = job.last_ms + MINUTE_MS
    return {"span": "own", "start": clock.field(job.first_ms), "end": clock.field(end_ms)}


def _report(tanks: list[tuple[str, str]], span: Mapping[str, str]) -> str:
    if not tanks or not span:
        return ""
    return (
        f"/report?{urlencode([*(('tank', tank) for tank, _ in tanks), ('start', span['start']), ('end', span['end'])])}"
    )


def _span_words(job: ImportJob, clock: Clock) -> str:
    if job.first_ms is None or job.last_ms is None:
        return ""
    return f"{clock.moment(job.first_ms).text} to {clock.moment(job.last_ms).text}"


def question_views(seen: Understood, answers: Mapping[str, str]) -> list[QuestionView]:
    """Questions as form fields, each with what is suggested."""
    views = []
    for number, one in enumerate(sorted(seen.questions, key=lambda one: not one.must)):
        free = one.key == "probe" or one.key.startswith("probe:")
        way = "text" if free or not one.choices else "pick" if len(one.choices) <= FEW else "list"
        views.append(
            QuestionView(
                key=one.key, field=f"q{number}", text=one.text, why=one.why, way=way,
                choices=() if way == "text" else tuple(one.choices), known=tuple(one.choices) if way == "text" else (),
                value=answers.get(one.key) or one.suggestion or "", must=one.must,
            )
        )  # fmt: skip
    return views


def understood_view(seen: Understood, clock: Clock) -> dict[str, Any]:
    """The file as understood: columns, first rows, notes."""
    rows = [
        {
            "line": row.line,
            "when": clock.moment(moment) if (moment := _ms(row.time)) is not None else None,
            "readings": [_reading(*one) for one in row.values],
            "refused": row.refused,
            "cells": " · ".join(cell for cell in row.cells if cell),
        }
        for row in seen.look.preview[:FIRST_ROWS]
    ]
    columns = [replace(one, unit=unit_words(one.unit)) for one in seen.look.columns]
    return {"kind": seen.look.kind, "columns": columns, "preview": rows, "notes": seen.look.notes}


def _reading(probe: str, quantity: str, value: float, unit: str) -> str:
    return f"{MEANING[Quantity(quantity)].label} {value:.10g} {unit_words(unit)}, {probe}"


def _ms(text: str) -> int | None:
    try:
        return round(datetime.fromisoformat(text).timestamp() * 1000)
    except ValueError:
        return None


def size_words(size: int) -> str:
    """A file's size."""
    return f"{size / 1e6:.1f} MB" if size >= 1_000_000 else f"{size / 1e3:.0f} kB" if size >= 1000 else f"{size} bytes"
