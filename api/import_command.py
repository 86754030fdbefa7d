"""``intermolt import``: files of readings in, through the running service or by itself.

Must not do: keep a reading while a question is open, or go round the service that runs on the data folder.
"""

from __future__ import annotations

import getpass
import signal
import sys
from argparse import Namespace
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType
from typing import Any

from tqdm import tqdm

from api.domain.errors import InputError
from api.domain.import_job import STOPPED, UNDER_WAY, ImportJob, JobState, Source
from api.import_site import ImportSite, open_site
from api.import_text import answers_of, asked, reading_of, told
from api.importing import read
from api.intake.block import RefusedRow
from api.services.import_folder import digest_of
from api.services.import_look import Understood
from api.services.imports import Given
from api.settings import Settings

MOST_REFUSED = 10


def import_files(mine: Settings, given: Namespace) -> int:
    """Look at the files, then import them: 0, or 1 when questions are open or rows or values were not taken.

    Raises InputError for files, answers or names that cannot be used.
    """
    answers = answers_of(given.answer or [])
    paths = [_there(Path(name)) for name in given.files]
    with open_site(mine) as site:
        looks = [_understood(site, path, answers, given.recipe or "", ask=sys.stdin.isatty()) for path in paths]
        if any(not seen.ready for seen in looks):
            print("\nNothing was kept. Answer what is asked, and give the same command again.")
            return 1
        if given.keep_recipe:
            site.desk.keep(looks[0].recipe, looks[0].tanks, given.keep_recipe, getpass.getuser())
            print(f"\nkept as {given.keep_recipe!r}: read files of the same kind with --recipe {given.keep_recipe}")
        if given.dry_run:
            return max(_dry(path, seen) for path, seen in zip(paths, looks, strict=True))
        code = 0
        for path, seen in zip(paths, looks, strict=True):
            job = _import(site, path, seen, answers, given.recipe or "")
            print("\n" + "\n".join(told(job, path.name)))
            whole = job.state is JobState.DONE and not (job.counts.refused or job.counts.conflicts)
            code = max(code, 0 if whole else 1)
            if job.state is JobState.CANCELLED:
                print("  the same command goes on where it stopped")
                return 1
        return code


def _there(path: Path) -> Path:
    if not path.exists():
        raise InputError(f"there is no file {path}")
    if not path.is_file():
        raise InputError(f"{path} is no file; name the files in it")
    return path


def _understood(site: ImportSite, path: Path, answers: dict[str, str], recipe: str, *, ask: bool) -> Understood:
    """A file as understood, printed; at a terminal, what is open is asked until nothing is."""
    seen = site.desk.look(path, answers, recipe)
    print("\n".join(reading_of(path.name, seen, answers)))
    while ask and seen.questions:
        for one in seen.questions:
            print("\n" + "\n".join(list(asked(one))[:-1] if one.choices and one.suggestion else asked(one)))
            usual = f" [{one.suggestion}]" if one.suggestion else ""
            try:
                said = input(f"answer{usual}: ").strip() or one.suggestion or ""
            except EOFError:
                return seen
            if not said:
                return seen
            answers[one.key] = said
        try:
            seen = site.desk.look(path, answers, recipe)
        except InputError as error:
            print(f"\n{error}")
            for one in seen.questions:
                answers.pop(one.key, None)
    return seen


def _dry(path: Path, seen: Understood) -> int:
    """Read the whole file and keep nothing: 1 when rows would not be taken."""
    rows = readings = refused = 0
    first: list[RefusedRow] = []
    with _bar(path) as bar:
        for block in read(path, seen.recipe, 0):
            rows += block.rows
            readings += sum(one.times_ms.size for one in block.series)
            refused += len(block.refused)
            first += block.refused[: MOST_REFUSED - len(first)]
            bar.set_postfix_str(f"{rows} rows", refresh=False)
            bar.update(round(1000 * block.share) - bar.n)
    print(f"\n{path.name}: {readings} readings in {rows} rows; {refused} cells or rows would not be taken")
    for one in first:
        where = f", {one.column}" if one.column else ""
        print(f"  line {one.line}{where}: {one.reason}: {one.text[:80]!r}")
    print("Nothing was kept.")
    return 1 if refused else 0


def _import(site: ImportSite, path: Path, seen: Understood, answers: dict[str, str], recipe: str) -> ImportJob:
    """Import one file, or go on with it where it was stopped."""
    digest = digest_of(path)
    before = site.store.imports.of_file(digest)
    if before is not None and before.state in (*STOPPED, *UNDER_WAY) and before.recipe == seen.recipe:
        print(f"{path.name}: goes on after {before.counts.rows} rows")
        file = site.placed(path, before.file, digest)
        site.store.write(lambda: site.store.imports.change(before.id, file=file)).result()
        number = site.desk.start(before.id).id
    else:
        file = site.placed(path, None, digest)
        given = Given(Source.COMMAND, getpass.getuser(), answers, recipe)
        number = site.desk.start(site.desk.add(file, given).id).id
    with _bar(path) as bar, _stopping(lambda: site.desk.cancel(number)):
        return site.finish(number, lambda job: _shown(bar, job))


def _bar(path: Path) -> Any:
    form = "{desc}: {percentage:3.0f} % |{bar}| {postfix}, {remaining} left"
    return tqdm(total=1000, desc=path.name[:40], file=sys.stderr, leave=False, disable=None, bar_format=form)


def _shown(bar: Any, job: ImportJob) -> None:
    took_s = max(0.001, (job.pace.now_ms - job.pace.from_ms) / 1000)
    rate = (job.counts.rows - job.pace.from_rows) / took_s
    bar.set_postfix_str(f"{job.counts.rows} rows, {rate:.0f}/s", refresh=False)
    bar.update(round(1000 * job.pace.share) - bar.n)


@contextmanager
def _stopping(cancel: Callable[[], object]) -> Iterator[None]:
    """Ctrl-C cancels once, in order; a second one breaks off."""

    def stop(number: int, frame: FrameType | None) -> None:
        signal.signal(signal.SIGINT, before)
        print("\ncancelling; what is kept stays kept", file=sys.stderr)
        cancel()

    before = signal.signal(signal.SIGINT, stop)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
