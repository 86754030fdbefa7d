"""Imports and what a file is understood to be, as JSON bodies. Must not do: ask or change anything."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from api.domain.errors import InputError
from api.domain.import_job import OPEN, ImportJob
from api.services.import_look import Understood
from api.services.import_words import ending, left_s, outcome, progress, rows_per_s
from api.services.imports import Imports
from api.web.times import rfc3339


def job_body(job: ImportJob) -> dict[str, Any]:
    """One import."""
    return {
        "id": job.id,
        "file": job.file.name,
        "bytes": job.file.size,
        "source": job.source,
        "person": job.person,
        "state": job.state,
        "words": ending(job),
        "progress": progress(job),
        "share": job.pace.share,
        "rows_per_s": rows_per_s(job),
        "left_s": left_s(job),
        **asdict(job.counts),
        "found_late": job.found_late,
        "outcome": outcome(job) if job.started_ms is not None else [],
        "probes": list(job.probes),
        "start": rfc3339(job.first_ms),
        "end": rfc3339(job.last_ms),
        "created": rfc3339(job.created_ms),
        "started": rfc3339(job.started_ms),
        "ended": rfc3339(job.ended_ms),
        "refusals": f"/api/v1/imports/{job.id}/refused.csv" if job.report_bytes else None,
        "recipe": job.recipe_name or None,
        "answers": dict(job.answers),
    }


def whole_body(imports: Imports, job: ImportJob) -> dict[str, Any]:
    """One import, with the file as it is understood while nothing of it was kept."""
    body = job_body(job)
    if job.state in OPEN:
        try:
            body |= understood_body(imports.understood(job))
        except InputError as error:
            body["unusable"] = str(error)
    return body


def understood_body(seen: Understood) -> dict[str, Any]:
    """What a file is understood to be."""
    return {
        "columns": [asdict(one) for one in seen.look.columns],
        "preview": [asdict(one) for one in seen.look.preview],
        "notes": list(seen.look.notes),
        "questions": [asdict(one) for one in seen.questions],
        "tanks": dict(seen.tanks),
    }
