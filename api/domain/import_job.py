"""One file on its way in: what it is, how far it is, what became of its rows. Must not do: read or keep anything."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum


class JobState(StrEnum):
    """Where an import stands."""

    ASKING = "asking"
    """A question is open."""
    READY = "ready"
    """Understood; nobody has said "start" yet."""
    WAITING = "waiting"
    """For its turn."""
    READING = "reading"
    DONE = "done"
    CANCELLED = "cancelled"
    FAILED = "failed"


OPEN = frozenset({JobState.ASKING, JobState.READY})
UNDER_WAY = frozenset({JobState.WAITING, JobState.READING})
STOPPED = frozenset({JobState.CANCELLED, JobState.FAILED})
FORGOTTEN = "its file was deleted"
"""What is said of an import whose copy of the file is gone: it cannot go on."""


class Source(StrEnum):
    """How a file came."""

    PAGE = "page"
    COMMAND = "command"
    DROP = "drop folder"


@dataclass(frozen=True, slots=True)
class GivenFile:
    """A file as it was given. ``ours``: it lies in the data folder and goes when the import is done."""

    name: str
    path: str
    size: int
    mtime_ns: int
    digest: str
    ours: bool


@dataclass(frozen=True, slots=True)
class Counts:
    """What became of a file's rows and of the readings in them.

    ``rows`` are data rows gone through; the rest counts readings, ``refused`` the lines of the refusals file that were
    not taken, ``conflicts`` readings whose time holds another value, which stays.
    """

    rows: int = 0
    accepted: int = 0
    duplicate: int = 0
    conflicts: int = 0
    refused: int = 0


@dataclass(frozen=True, slots=True)
class Pace:
    """Where a run began and where it is now, so that rate and time left can be told; ``share`` is 0 to 1."""

    share: float = 0.0
    from_ms: int = 0
    from_share: float = 0.0
    from_rows: int = 0
    now_ms: int = 0


@dataclass(frozen=True, slots=True)
class ImportJob:
    """One import.

    ``recipe`` is how the file is read, as intake wrote it (empty: not understood yet), ``tanks`` which tank each probe
    that is not known yet belongs to (empty text: none). ``next_row`` and ``report_bytes`` say where to go on,
    ``report`` is the file of what was not taken. ``pending`` counts readings kept of the block that is being taken.
    """

    id: int
    file: GivenFile
    source: Source
    person: str
    state: JobState
    created_ms: int
    answers: Mapping[str, str] = field(default_factory=dict)
    recipe: str = ""
    recipe_name: str = ""
    tanks: Mapping[str, str] = field(default_factory=dict)
    probes: tuple[str, ...] = ()
    next_row: int = 0
    counts: Counts = Counts()
    pending: int = 0
    pace: Pace = Pace()
    report: str = ""
    report_bytes: int = 0
    stop: bool = False
    words: str = ""
    first_ms: int | None = None
    last_ms: int | None = None
    alerts_after: int = 0
    found_late: int = 0
    started_ms: int | None = None
    ended_ms: int | None = None


@dataclass(frozen=True, slots=True)
class KeptRecipe:
    """An understanding kept under a name, with the tanks of the probes it names."""

    name: str
    body: str
    tanks: Mapping[str, str]
    person: str
    kept_ms: int
