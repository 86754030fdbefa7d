"""How far a long reading is, on terminals with and without a width, and on none."""

from __future__ import annotations

import fcntl
import os
import pty
import struct
import termios

import pytest

from collector.once import _progress
from collector.progress import Bar, Plain


@pytest.mark.parametrize(("columns", "kind"), [(100, Bar), (0, Plain)])
def test_a_bar_only_where_it_can_be_seen(
    columns: int, kind: type[Bar | Plain], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A serial console tells no width."""
    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 24, columns, 0, 0))
    with os.fdopen(theirs, "w") as terminal:
        monkeypatch.setattr("sys.stderr", terminal)
        show = _progress(10)
        assert isinstance(show, kind)
        show.update(5, 10, "")
        show.close()
        assert b"5" in os.read(ours, 4096)
    os.close(ours)


def test_a_plain_line_every_five_seconds_with_rate_and_time_left() -> None:
    """And the last figures at the end."""
    said: list[str] = []
    clock = [0.0]
    show = Plain(1000, lambda: clock[0], said.append)
    for second in range(11):
        clock[0] = float(second)
        show.update(second * 50, 1000, "")
    assert said == [
        "250 of 1000 readings accepted by the service, 50/s, time left 00:15",
        "500 of 1000 readings accepted by the service, 50/s, time left 00:10",
    ]
    show.close()
    assert len(said) == 3
