"""The wheel: our three packages with their pages and the simulated room's file, and nothing else."""

from __future__ import annotations

import subprocess
import sys
import zipfile
from pathlib import Path

ROOT = Path(__file__).parents[1]


def test_the_wheel_holds_what_a_room_needs(tmp_path: Path) -> None:
    """Built without the network's help beyond the build tool; templates, looks and the room file are inside."""
    command = [sys.executable, "-m", "pip", "wheel", "--quiet", "--no-deps", "--wheel-dir", str(tmp_path), str(ROOT)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    names = zipfile.ZipFile(next(tmp_path.glob("intermolt-*.whl"))).namelist()
    assert {name.split("/")[0] for name in names if ".dist-info" not in name} == {"api", "collector", "dashboard"}
    for needed in ("collector/simulated/room.toml", "dashboard/templates/room.html", "dashboard/static/looks.css"):
        assert needed in names
