"""``intermolt export``: readings into CSV or Parquet with a descriptor, while the service runs or not.

Must not do: write over a file, or let a half one look whole.
"""

from __future__ import annotations

import hashlib
import json
import os
import sys
from argparse import Namespace
from collections.abc import Iterable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from tqdm import tqdm

from api.app import now_ms
from api.domain.errors import InputError
from api.domain.quantity import Quantity
from api.kept_store import kept_store
from api.moments import moment_of
from api.services.export import Export, Page, Selection, csv_of
from api.services.export_descriptor import describe
from api.services.export_parquet import writer
from api.services.plan import RoomPlan
from api.services.records import Records
from api.settings import Settings
from api.web.times import FIRST_MS

KINDS = ("csv", "parquet")
OTHERS = ("xlsx", "xls", "ods", "tsv", "txt", "json", "pdf", "zip", "gz")
"""Endings of files this command does not write; a folder of such a name is not what was meant."""
STEM, DESCRIPTOR = "readings", "datapackage.json"


def export(mine: Settings, given: Namespace) -> int:
    """Write what was asked for: 0, or 1 when the disk failed on the way.

    Raises InputError for tanks, quantities, times or files that cannot be used.
    """
    with kept_store(mine.data) as store:
        plan = Records(store).plan()
        zone, moment_ms = ZoneInfo(plan.room.zone), now_ms()
        start_ms = moment_of(given.start, "--from", zone, 0) if given.start else FIRST_MS
        end_ms = moment_of(given.end, "--to", zone, 1) if given.end else moment_ms + 1
        source = Export(store, lambda: plan)
        selection = source.select(given.tank or [], [_quantity(one) for one in given.quantity or []], start_ms, end_ms)
        if given.out == "-":
            return _print(source, selection, given.format)
        file, descriptor = _places(given.out, given.format)
        return _files(source, selection, plan, file, descriptor, moment_ms)


def _quantity(name: str) -> Quantity:
    try:
        return Quantity(name)
    except ValueError:
        raise InputError(f"--quantity {name[:60]!r} is none of: {', '.join(Quantity)}") from None


def _places(out: str, kind: str | None) -> tuple[Path, Path]:
    """The file and its descriptor.

    Raises InputError for one that is there, or whose ending says another format.
    """
    path = Path(out)
    ending = path.suffix.lower().removeprefix(".")
    if ending in KINDS and not path.is_dir():
        if kind is not None and kind != ending:
            raise InputError(f"--out {out} and --format {kind} do not agree; change one of them")
        file, descriptor = path, path.with_name(f"{path.name}.{DESCRIPTOR}")
    else:
        file, descriptor = path / f"{STEM}.{kind or KINDS[0]}", path / DESCRIPTOR
        if ending in OTHERS:
            raise InputError(f"--out {out}: readings are written as .csv or .parquet, or into a folder")
        if path.is_file():
            raise InputError(f"{path} is there already; give another name with --out, or move it away")
    for one in (file, descriptor):
        if one.exists():
            raise InputError(f"{one} is there already; give another name with --out, or move it away")
    return file, descriptor


def _print(source: Export, selection: Selection, kind: str | None) -> int:
    if kind == "parquet":
        raise InputError("Parquet is not text: give a file with --out")
    for text in csv_of(source.pages(selection)):
        sys.stdout.write(text)
    return 0


def _files(source: Export, selection: Selection, plan: RoomPlan, file: Path, descriptor: Path, moment_ms: int) -> int:
    """Data first, its descriptor last; both under another name until they are whole."""
    kind = file.suffix.lower().removeprefix(".")
    write = _csv if kind == "csv" else writer()
    shown = selection if selection.start_ms != FIRST_MS else replace(selection, start_ms=_first(source, selection))
    body = describe(plan, shown, file.name, kind, moment_ms)
    arriving, beside = (one.with_name(f".{one.name}.partial") for one in (file, descriptor))
    count = _Counted(source.pages(selection))
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        write(arriving, count, body)
        body["resources"][0] |= {"bytes": arriving.stat().st_size, "hash": f"sha256:{_sha256(arriving)}"}
        beside.write_text(json.dumps(body, indent=2, ensure_ascii=False) + "\n", encoding="utf-8")
        _flush(arriving, beside)
        arriving.replace(file)
        beside.replace(descriptor)
    except OSError as error:
        print(f"intermolt: cannot write {file}: {error.strerror or error}; give another --out", file=sys.stderr)
        return 1
    finally:
        count.close()
        for one in (arriving, beside):
            one.unlink(missing_ok=True)
    print(f"{file}: {count.rows} readings of {len(selection.channels)} channels; described in {descriptor}")
    if not count.rows:
        print("No reading lies in that span: look at --tank, --quantity, --from and --to.")
    return 0


def _first(source: Export, selection: Selection) -> int:
    """When the oldest of all these readings was made."""
    first = (next(source.pages(replace(selection, channels=(one,))), None) for one in selection.channels)
    return min((page.rows[0].time_ms for page in first if page is not None), default=selection.end_ms - 1)


class _Counted:
    """Pages on their way, counted, with a bar when a person looks on."""

    def __init__(self, pages: Iterable[Page]) -> None:
        self._pages, self.rows = pages, 0
        self._bar: tqdm[Any] = tqdm(unit=" readings", unit_scale=True, disable=None, leave=False)
        self.close = self._bar.close

    def __iter__(self) -> Iterator[Page]:
        for page in self._pages:
            yield page
            self.rows += len(page.rows)
            self._bar.update(len(page.rows))


def _csv(path: Path, pages: Iterable[Page], descriptor: dict[str, Any]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        file.writelines(csv_of(pages))


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _flush(*paths: Path) -> None:
    for path in paths:
        descriptor = os.open(path, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
