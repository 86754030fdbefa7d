"""Messages without a time: which may be dated by their arrival, and which are already on the disk."""

from __future__ import annotations

from collector.drivers.mqtt_link import Message
from collector.drivers.mqtt_news import FEW, QUIET_S, REMEMBERED, WINDOW_S, News

NOW_MS = 1_900_000_000_000
ONE = Message("t/1", b"24.31", qos=1, mid=7)


def news(live_before_ms: int | None, session: bool) -> News:
    """Connected now, having last kept a message so long ago; a minute may pass."""
    mark = None if live_before_ms is None else News(None, 0).mark(NOW_MS - live_before_ms)
    found = News(mark, late_ms=60_000)
    found.connected(NOW_MS, 100.0, session)
    return found


def test_a_broker_that_did_not_know_us_held_nothing() -> None:
    """Even after a long time."""
    assert news(None, session=False).old(ONE) == ""
    assert news(10**9, session=False).old(ONE) == ""


def test_a_short_absence_is_bridged_a_long_one_is_not() -> None:
    """By the keeper's own measure."""
    assert news(59_000, session=True).old(ONE) == ""
    assert "who knows how long" in news(61_000, session=True).old(ONE)
    assert "who knows how long" in news(None, session=True).old(ONE)
    assert "who knows how long" in news(-5000, session=True).old(ONE), "the clock was set back: nothing is known"


def test_once_the_line_is_quiet_what_comes_is_new() -> None:
    """A broker hands on what it held without a pause."""
    found = news(10**9, session=True)
    found.quiet(QUIET_S - 0.1)
    assert found.old(ONE)
    found.quiet(QUIET_S)
    assert found.old(ONE) == ""


def test_a_busy_probe_is_believed_after_a_while() -> None:
    """It never leaves the line quiet, but a broker's store comes much faster."""
    found = news(10**9, session=True)
    for second in range(1, 10):
        found.came(FEW, 100.0 + second)
    assert found.old(ONE)
    found.came(FEW, 100.0 + WINDOW_S)
    assert found.old(ONE)
    found.came(FEW - 1, 100.0 + 2 * WINDOW_S)
    assert found.old(ONE) == ""


def test_a_retained_message_is_never_new() -> None:
    """Not even on a quiet line."""
    found = news(1000, session=False)
    assert "retained" in found.old(Message("t/1", b"24.31", qos=1, mid=7, retain=True))


def test_a_message_that_comes_again_is_known() -> None:
    """By what it says and by the broker's own number and mark, also after a crash."""
    first = news(1000, session=True)
    first.keep(ONE)
    second = News(first.mark(NOW_MS), 60_000)
    again = Message("t/1", b"24.31", qos=1, mid=7, dup=True)
    assert second.was_kept(again)
    assert not second.was_kept(ONE), "not marked as repeated: a new message with the same number"
    for other in (
        Message("t/2", b"24.31", qos=1, mid=7, dup=True),
        Message("t/1", b"24.32", qos=1, mid=7, dup=True),
        Message("t/1", b"24.31", qos=1, mid=8, dup=True),
    ):
        assert not second.was_kept(other)


def test_the_memory_is_bounded() -> None:
    """It holds more than a broker has under way, and not much more."""
    found = news(1000, session=True)
    for mid in range(10_000):
        found.keep(Message("t/1", b"24.31", qos=1, mid=mid))
    assert found.was_kept(Message("t/1", b"24.31", qos=1, mid=9999, dup=True))
    assert not found.was_kept(Message("t/1", b"24.31", qos=1, mid=9999 - REMEMBERED, dup=True))
    assert len(found.mark(NOW_MS)) < 1000
