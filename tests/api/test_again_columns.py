"""Kept readings gone over column by column: the same as reading by reading, and whoever imports waits for all of it."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from random import Random

import numpy as np
import pytest
from hypothesis import given, settings

from api.domain.alert import AlertEvent
from api.domain.import_job import ImportJob, JobState
from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from api.intake.block import Block, Series
from api.services.again import Again
from api.services.again_columns import Gone
from api.services.import_run import GOES_ON
from api.services.import_words import ending
from api.services.past_checks import row
from api.services.plan import RoomPlan
from api.storage.base import DERIVED, Waiting
from api.storage.past_base import Columns
from tests.api.test_keep_past import CARE, NIGHTS, Night, alerts, columns, import_all, near, parted
from tests.api.test_line_same import CALIBRATIONS, ROOM, calibration, kept, opened, settle
from tests.support.import_blocks import START_MS, Blocks, job_of
from tests.support.rooms import NOW_MS, TestRoom, room

Q = Quantity
HOUR_MS, MINUTE_MS = 3_600_000, 60_000


class OneByOne(Again):
    """Reading by reading, as late ones are."""

    def _gone_over(self, span: Waiting, columns: Columns, plan: RoomPlan, events: list[AlertEvent]) -> Gone:
        rows = [row(columns, place) for place in range(len(columns.times_ms))]
        if span.why != DERIVED:
            return self._one_by_one(span, rows, plan, events)
        self._derive(span, rows, plan, set(), events)
        return Gone()


@contextmanager
def two(text: str) -> Iterator[tuple[TestRoom, TestRoom]]:
    """A room that goes over reading by reading, and one that does so by columns."""
    with tempfile.TemporaryDirectory() as folder, ExitStack() as stack:
        slow, quick = (stack.enter_context(room(opened(Path(folder) / name), text)) for name in ("slow", "quick"))
        service = slow.service
        service.importing.again = OneByOne(service.store, service.ingest, service.plan, lambda: slow.now_ms)
        yield slow, quick


@settings(deadline=None, max_examples=6)
@given(NIGHTS)
def test_by_columns_and_one_by_one_end_the_same(case: Night) -> None:
    """Files after one another that lean on each other, then calibrations from before their time."""
    live, recorded = parted(case)
    chance = Random(case.case.chance)
    order = chance.sample(["a", "b", "c", "air"], 4)
    entered = chance.sample(range(len(CALIBRATIONS)), 3)
    with two(ROOM.replace('id = "t1"', 'id = "t1"\ncare = "river"', 1) + CARE) as labs:
        for lab in labs:
            lab.take(*live)
            settle(lab)
            for probe in order:
                import_all(lab, [one for one in recorded if one.probe == probe], case.block)
                settle(lab)
            for number in entered:
                lab.service.calibrations.enter(calibration(number, NOW_MS - 9 * HOUR_MS), lab.now_ms).result()
            settle(lab)
        wanted, found = map(kept, labs)
        assert found.keys() == wanted.keys()
        for name, rows in wanted.items():
            for one, other in zip(found[name], rows, strict=True):
                assert list(one) == [near(part) for part in other], name
        assert alerts(labs[1]) == alerts(labs[0])


def oxygen(rows: int) -> list[RawReading]:
    """p1's, a minute apart."""
    return [
        RawReading("p1", Q.OXYGEN, START_MS + n * MINUTE_MS, 7.5 + round(0.01 * (n * 7 % 11), 2), "mg/L")
        for n in range(rows)
    ]


def warmth(rows: int) -> Block:
    """Another probe of the same tank."""
    times_ms = START_MS + MINUTE_MS * np.arange(rows, dtype=np.int64)
    values = np.array(25.0 + 0.02 * (np.arange(rows) * 5 % 9), np.float64)
    return Block(
        (Series("logger-1", Q.TEMPERATURE, "Cel", np.arange(2, rows + 2), times_ms, values),), (), rows, rows, 1.0
    )


def completed(lab: TestRoom, patience: bool) -> ImportJob:
    """Import temperatures beside oxygen that is kept; the job."""
    import_all(lab, oxygen(300), 300)
    settle(lab)
    path = lab.folder / "logger.csv"
    path.write_text("invented\n", encoding="utf-8")
    service = lab.service
    job = service.store.write(lambda: service.store.imports.open(job_of(path, {"logger-1": "t1"}))).result()
    importing = service.importing
    importing.alone()
    run = importing.run
    run._read = Blocks([warmth(300)])
    if not patience:
        run._go_over = lambda job: False
    return run.run(job)


@pytest.fixture
def lab(tmp_path: Path) -> Iterator[TestRoom]:
    """Two tanks."""
    with room(tmp_path) as one:
        yield one


def test_an_import_waits_for_the_oxygen_of_other_probes(lab: TestRoom) -> None:
    """Temperatures of one probe complete another one's oxygen before the import is called done."""
    job = completed(lab, patience=True)
    assert (job.state, ending(job)) == (JobState.DONE, "Imported.")
    assert lab.service.store.revisions.waiting() == []
    derived = lab.service.store.past.kept("p1", Q.OXYGEN_SATURATION, 0, 2**62)
    assert np.isfinite(derived.values).all()
    assert len(derived.values) == 300


def test_what_still_goes_on_is_said(lab: TestRoom) -> None:
    """Where it takes longer than anybody waits."""
    job = completed(lab, patience=False)
    assert job.state is JobState.DONE
    assert ending(job) == f"Imported; {GOES_ON}."
    assert lab.service.store.revisions.waiting() != []


def test_columns_are_put_as_given(lab: TestRoom) -> None:
    """Values, flags and reasons follow, and so do the summaries; what the probe said stays."""
    lab.service.importing.keep.take(columns(oxygen(12)), lab.now_ms)
    store = lab.service.store
    rows = store.past.kept("p1", Q.OXYGEN, 0, 2**62)
    rows.values[:], rows.flags[3] = 6.0, 4
    anew = Columns(rows.times_ms, rows.raws, rows.units, rows.values, rows.flags, rows.arrivals, {3: "a trial"})
    store.write(lambda: store.past.put("p1", Q.OXYGEN, anew)).result()
    found = store.past.kept("p1", Q.OXYGEN, 0, 2**62)
    assert (found.values.tolist(), found.flags[3], found.reasons) == ([6.0] * 12, 4, {3: "a trial"})
    assert found.raws.tolist() == rows.raws.tolist()
    spans = store.readings.summaries("p1", Q.OXYGEN, 0, 2**62, 300, 300_000)
    assert (sum(one.count for one in spans), sum(one.flagged for one in spans)) == (11, 1)
    assert {one.mean for one in spans if one.count} == {6.0}
