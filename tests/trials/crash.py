"""Crash trial: numbered readings from eight probes, through faults at random; every number must be stored once.

    python -m tests.trials.crash --faults 500 [--seed N] [--uplink http|mqtt|both] [--keep FOLDER]

Real collector, service and (``mqtt``) broker processes; the probes speak over pseudo-terminals. With ``both`` the two
ways share the faults and are tried at the same time. Exit code 1 when anything was lost, doubled or refused. Must not
do: call a number lost or sent by what the collector says of itself.

What counts as SENT, for each kind of probe:

* A probe with a memory (three): says a number, with its own time, again and again until it is acknowledged. The number
  is sent once it is acknowledged. No kill and no full disk is an excuse.
* A probe that is asked (three): answers each question with the next number. The number is sent when the same collector
  process asks on, which it does only after it has taken the answer in. Did the process die before, or did it ask anew
  so soon that the answer must have been late, then the number is IN DOUBT: it may be stored, once, or not.
* A probe that speaks by itself (two): a number is sent when the collector process that had the port open lived on for
  two seconds. The numbers of the last two seconds before a death are in doubt. It is silent while nobody listens.
* IN MEMORY ONLY: a number of a probe without a memory that was taken in while the collector's disk was full (from two
  seconds before until the collector has tried its disk again) and whose collector then died with the disk still so.
  Nothing can keep it; it may be stored, once, or not. A probe with a memory is not acknowledged meanwhile.

LOST is a sent number that does not stand in the service's database at the end. Not lost are numbers that the collector
still has: HELD for want of a time, or WAITING with a date of the future, given while its clock was believed and wrong.
DOUBLED is any number that stands there more than once, NEVER SAID one that no probe said. REFUSED are numbers that the
collector set aside because the service would not have them; those that were sent are counted as lost too.
"""

from __future__ import annotations

import argparse
import random
import shutil
import sys
import tempfile
import threading
from collections.abc import Sequence
from pathlib import Path

from tests.trials.crash_disk import with_own_mounts
from tests.trials.crash_run import Result, run_one
from tests.trials.crash_words import explanation, table

SHORT = 25
"""Up to so many faults the trial is a short one: none that takes half a minute to be noticed."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the trial and print its table; the exit code."""
    given = list(sys.argv[1:] if arguments is None else arguments)
    words = argparse.ArgumentParser(prog="python -m tests.trials.crash", description="Every number stored once?")
    words.add_argument("--faults", type=int, default=SHORT, help=f"how many, over both ways together ({SHORT})")
    words.add_argument("--seed", type=int, help="begin the random numbers here (drawn unless given)")
    words.add_argument("--uplink", choices=("http", "mqtt", "both"), default="both")
    words.add_argument("--keep", type=Path, metavar="FOLDER", help="leave databases and journals there")
    asked = words.parse_args(given)
    seed = random.SystemRandom().randrange(10**6) if asked.seed is None else asked.seed
    with_own_mounts("tests.trials.crash", [*given, *(["--seed", str(seed)] if asked.seed is None else [])])
    ways = ["http", "mqtt"] if asked.uplink == "both" else [asked.uplink]
    print(f"Crash trial: {asked.faults} faults, seed {seed}", flush=True)
    with tempfile.TemporaryDirectory(prefix="crash-", ignore_cleanup_errors=True) as folder:
        results = _together(ways, asked.faults, seed, Path(folder))
        print(table(results), flush=True)
        for result in results:
            print(explanation(result), end="", flush=True)
            if asked.keep is not None:
                _keep(result, asked.keep / result.uplink)
            for disk in result.world.disks.values():
                disk.close()
    return 0 if len(results) == len(ways) and all(result.good for result in results) else 1


def _together(ways: Sequence[str], faults: int, seed: int, folder: Path) -> list[Result]:
    """Each way in a thread of its own; one that could not be tried to its end has no result."""
    results: dict[str, Result] = {}

    def one(uplink: str, count: int) -> None:
        results[uplink] = run_one(uplink, count, seed, folder / uplink, brief=faults <= SHORT)

    share = [faults // len(ways) + (place < faults % len(ways)) for place in range(len(ways))]
    threads = [threading.Thread(target=one, args=pair) for pair in zip(ways, share, strict=True)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return [results[way] for way in ways if way in results]


def _keep(result: Result, place: Path) -> None:
    place.mkdir(parents=True, exist_ok=True)
    lines = result.world.journal.between(0.0, float("inf"))
    (place / "journal.txt").write_text("\n".join(lines) + "\n", encoding="utf-8")
    for path in (result.world.database, result.world.spool):
        shutil.copy(path, place / path.name)
    said = [f"{probe} {n} {s.at_s:.2f} {s.fate.value}\n" for (probe, n), s in result.world.bench.said().items()]
    (place / "said.txt").write_text("".join(said), encoding="utf-8")


if __name__ == "__main__":
    sys.exit(main())
