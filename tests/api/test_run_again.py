"""``intermolt run`` right after the last one was killed: it waits for the end of what was left of that."""

from __future__ import annotations

import fcntl
from pathlib import Path

import pytest

from api.run import LAST_ENDS_WITHIN_S, wait_for_the_last


def test_a_service_that_is_ending_is_waited_for(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """It lets go of its folder after a second; said once."""
    waited: list[float] = []
    with (tmp_path / "service.lock").open("w") as held:
        fcntl.flock(held, fcntl.LOCK_EX)

        def sleep(seconds: float) -> None:
            waited.append(seconds)
            if sum(waited) >= 1.0:
                fcntl.flock(held, fcntl.LOCK_UN)

        assert wait_for_the_last(tmp_path, sleep)
    assert sum(waited) == pytest.approx(1.0)
    assert capsys.readouterr().out.count("waiting") == 1


def test_one_that_goes_on_is_not_waited_for_for_ever(tmp_path: Path) -> None:
    """Ten seconds; what comes next says what to do."""
    waited: list[float] = []
    with (tmp_path / "service.lock").open("w") as held:
        fcntl.flock(held, fcntl.LOCK_EX)
        assert not wait_for_the_last(tmp_path, waited.append)
    assert sum(waited) == pytest.approx(LAST_ENDS_WITHIN_S)


def test_nobody_there_is_no_wait(tmp_path: Path) -> None:
    """A new folder, and one whose service has ended."""
    assert wait_for_the_last(tmp_path / "new", lambda _: pytest.fail("nobody to wait for"))
    (tmp_path / "service.lock").touch()
    assert wait_for_the_last(tmp_path, lambda _: pytest.fail("nobody to wait for"))
