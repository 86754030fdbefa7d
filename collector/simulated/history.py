"""The first start's past as a CSV file, worded by the same probes that speak later.

Must not do: write over a room that has begun.
"""

from __future__ import annotations

import os
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

from tqdm import tqdm

from collector.simulated import saved as saved_room
from collector.simulated.demo import Demo, live_past, texts_of

HEADER = "probe,quantity,time,value,unit\n"
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def write_history(demo: Demo, folder: Path, now_ms: int) -> int:
    """Write ``history.csv`` and ``state.json`` into ``folder``; gives the number of readings written.

    The state is written last: a start that was cut short begins anew.
    """
    folder.mkdir(parents=True, exist_ok=True)
    scene = demo.scene(now_ms)
    heads = [[(f"{d.probe},{v.quantity},", f",{v.unit}\n") for v in d.values] for d in demo.dialects]
    path, count = folder / "history.csv", 0
    saved: saved_room.Saved | None = None
    beside = path.with_name(f"{path.name}.{os.getpid()}.part")
    start_ms = now_ms - round(demo.settings.history_days * 86_400_000)
    bar = tqdm(total=now_ms - start_ms, desc="history", file=sys.stderr, bar_format="{desc} {percentage:3.0f}% |{bar}|")
    with bar, beside.open("w", encoding="utf-8", newline="") as file:
        file.write(HEADER)
        for record, saved in live_past(demo, now_ms):
            rows: list[str] = []
            for time_ms, probes in texts_of(demo, scene, record):
                stamp = rfc3339(time_ms)
                for head, texts in zip(heads, probes, strict=True):
                    if texts is not None:
                        rows.extend(f"{a}{stamp},{text}{b}" for (a, b), text in zip(head, texts, strict=True))
            file.writelines(rows)
            count += len(rows)
            bar.update(max(0, int(saved.state.time_ms) - start_ms - bar.n))
        file.flush()
        os.fsync(file.fileno())
    beside.replace(path)
    if saved is not None:
        saved_room.write(folder / "state.json", saved)
    return count


def rfc3339(time_ms: int) -> str:
    """UTC with whole milliseconds, as 2026-03-01T04:05:06.789Z."""
    return (EPOCH + timedelta(milliseconds=time_ms)).isoformat(timespec="milliseconds").replace("+00:00", "Z")
