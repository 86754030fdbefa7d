"""The second voice: the service is dead, and the collector calls the keeper itself, by the limits it last received."""

from __future__ import annotations

import pytest

from api.domain.reading import RawReading
from tests.support.voice_desk import LIMITS, MINUTE_MS, Desk, Q, desk

__all__ = ["desk"]


def test_it_keeps_quiet_while_the_service_takes_readings(desk: Desk) -> None:
    """Low oxygen for an hour: that is the service's to tell."""
    for _ in range(60):
        desk.minute(1.0, takes=True)
    assert desk.sent == []


def test_silence_danger_and_return(desk: Desk) -> None:
    """After fifteen minutes: who is away; then the tank by its limit, once an hour; at last the all-clear."""
    for _ in range(14):
        desk.minute(7.0)
    assert desk.sent == []
    desk.minute(7.0)
    assert desk.titles == ["URGENT Creek room: the service takes no readings"]
    # NOW_MS is 2026-09-21 14:13:20 UTC
    assert "for 15 min, since 14:13, nobody has judged the water" in desk.sent[0][1]
    for _ in range(30):
        desk.minute(2.4)
    assert desk.titles[1:] == ["URGENT North 1: oxygen"]
    first = desk.sent[1][1][:160]
    assert all(word in first for word in ("North 1", "2.4 mg/L", "below the danger limit 3 mg/L", "airstone"))
    for _ in range(40):
        desk.minute(2.4)
    assert desk.titles[2:] == ["URGENT North 1: oxygen"]
    desk.minute(7.0)
    assert desk.sent[3][0] == "Creek room: back inside danger limits"
    assert desk.sent[3][1] == "North 1: oxygen is back inside its danger limit."
    desk.minute(7.0, takes=True)
    assert desk.titles[4:] == ["Creek room: the service takes readings again"]
    assert "1 h 27 min" in desk.sent[4][1]
    for _ in range(5):
        desk.minute(7.0, takes=True)
    assert len(desk.sent) == 5


def test_one_odd_reading_is_no_danger(desk: Desk) -> None:
    """It takes two readings in a row and the limit's own delay; another unit is not compared."""
    for _ in range(16):
        desk.minute(7.0)
    desk.minute(0.0)
    for _ in range(5):
        desk.minute(7.0)
        desk.voice.hear([RawReading("p1", Q.OXYGEN, desk.now_ms, 1.0, "umol/L")])
    assert len(desk.sent) == 1


def test_nothing_waits_nothing_is_wrong(desk: Desk) -> None:
    """No probe speaks: the service has nothing to take, and its own watch tells of quiet probes."""
    desk.waiting = 0
    for _ in range(60):
        desk.minute()
    assert desk.sent == []


def test_it_goes_on_after_a_restart(desk: Desk) -> None:
    """The collector's power fails too: limits, what was told and what waits are on the disk."""
    desk.fault = "no network"
    for _ in range(20):
        desk.minute(2.0)
    assert desk.sent == []
    desk.voice = desk.new()
    assert [limit.low for limit in desk.voice.kept.limits] == [3.0]
    desk.fault = ""
    desk.minute(2.0)
    assert desk.titles == ["URGENT Creek room: the service takes no readings", "URGENT North 1: oxygen"]
    desk.minute(2.0)
    desk.minute(7.0, takes=True)
    assert desk.titles[2:] == ["Creek room: the service takes readings again"]


def test_a_phone_that_fails_is_tried_again(desk: Desk) -> None:
    """Nothing is sent twice to one who got it, nothing is forgotten."""
    desk.fault = "busy"
    for _ in range(16):
        desk.minute(7.0)
    desk.fault = ""
    for _ in range(6):
        desk.minute(7.0)
    assert desk.titles == ["URGENT Creek room: the service takes no readings"]


def test_after_a_power_cut_the_same_silence_goes_on(desk: Desk) -> None:
    """Time since boot begins anew; how long the service was away is told by the date, if that is known."""
    for _ in range(20):
        desk.minute(7.0)
    desk.offset_ms, desk.now_ms, desk.boot = desk.now_ms + 100 * MINUTE_MS, 0, "second boot"
    desk.voice = desk.new()
    desk.minute(7.0)
    desk.minute(7.0, takes=True)
    assert desk.titles[1:] == ["Creek room: the service takes readings again"]
    assert "away for 2 h 2 min" in desk.sent[1][1]


def test_an_unset_clock_that_holds_readings_back_is_told(desk: Desk) -> None:
    """The service runs and is well, but gets nothing that it could judge; there is no date to tell either."""
    desk.doubt = "the computer's clock is not set"
    for _ in range(16):
        desk.minute(7.0)
    assert desk.titles == ["URGENT Creek room: readings cannot be passed on"]
    assert "for 15 min nobody has judged" in desk.sent[0][1]
    assert "passed on: the computer's clock is not set." in desk.sent[0][1]


def test_danger_counts_from_when_a_reading_came_whatever_its_own_time_says(desk: Desk) -> None:
    """Stamps of an unset clock are small numbers: no danger lasts for fifty years because of them."""
    for _ in range(16):
        desk.minute(7.0)
    for _ in range(4):
        desk.voice.hear([RawReading("p1", Q.OXYGEN, 5_000, 2.0, "mg/L")])
        desk.minute()
    assert "below the danger limit 3 mg/L for 2 min." in desk.sent[1][1]


def test_a_room_that_fails_as_a_whole_is_one_message(desk: Desk) -> None:
    """Eight tanks at once, two quantities each: one message; three tanks are three."""
    row = LIMITS["danger"][0]
    rows = [
        {**row, "probe": f"p{n}", "tank": f"Tank {n}", "quantity": quantity, "label": quantity}
        for n in range(8)
        for quantity in ("oxygen", "level")
    ]

    def low(probes: range) -> list[str]:
        desk.voice = desk.new()
        desk.voice.answered({"danger": rows})
        del desk.sent[:]
        for _ in range(20):
            for n in probes:
                for quantity in (Q.OXYGEN, Q.LEVEL):
                    desk.voice.hear([RawReading(f"p{n}", quantity, desk.now_ms, 2.0, "mg/L")])
            desk.minute()
        return [title for title in desk.titles if "takes no readings" not in title]

    assert low(range(3)) == [f"URGENT Tank {n}: oxygen, level" for n in range(3)]
    desk.minute(takes=True)
    assert low(range(8)) == ["URGENT Creek room: 8 tanks beyond danger limits"]
    assert desk.sent[-1][1].count("Is the airstone bubbling?") == 1
    assert all(f"Tank {n}: oxygen 2 mg/L" in desk.sent[-1][1] for n in range(8))


def test_what_waits_for_a_dead_phone_is_bounded(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    """The first message, that the service is away, and the newest stay."""
    monkeypatch.setattr("collector.voice.MOST_WAITING", 5)
    desk.fault = "no network"
    for _ in range(16):
        desk.minute(7.0)
    for n in range(60 * 12):
        desk.minute(2.0 if n % 10 < 5 else 7.0)
    assert len(desk.voice.memory.waiting) == 5
    assert desk.voice.memory.waiting[0][1] == "URGENT Creek room: the service takes no readings"
