"""The ladder on a test clock: who is told when nobody answers, what wakes whom, and who hears that it is over.

The rungs' times (0, 5, 15, 30 minutes) and 45 minutes for an acknowledgement: common practice, no source.
"""

from __future__ import annotations

from pathlib import Path

from api.domain.alert import Priority
from api.judge.ladder import Ladder
from tests.support.reach_room import LADDER, PEOPLE, ReachRoom, reach_room

BAD = {"p1": 2.5, "p2": 95.0}
BOTH = {"p1": 2.5, "p2": 20.0}
LOW = {"p1": 4.6, "p2": 95.0}
WELL = {"p1": 7.5, "p2": 95.0}


def until_told(room: ReachRoom, water: dict[str, float], most_min: int = 30) -> list[tuple[str, str]]:
    """Turn the clock until a message comes."""
    for _ in range(most_min):
        room.turn(1, water)
        if found := room.told():
            return found
    return []


def names(told: list[tuple[str, str]]) -> list[str]:
    """Whose phones rang."""
    return [name for name, _ in told]


def test_nobody_answers(tmp_path: Path) -> None:
    """All four rungs on time, each as it should be; then everyone again each half hour."""
    with reach_room(tmp_path, at="2026-09-21T02:00") as room:
        assert until_told(room, BAD) == [("ana-phone", "URGENT t1: low oxygen")]
        rang: dict[int, list[str]] = {}
        for minute in range(1, 91):
            room.turn(1, BAD)
            if found := names(room.told()):
                rang[minute] = found
        everyone = ["ana-phone", "ana-mail", "ben-phone", "cleo-phone"]
        assert rang == {5: everyone[:2], 15: ["ben-phone"], 30: everyone, 60: everyone, 90: everyone}


def test_a_restart_goes_on_where_it_was(tmp_path: Path) -> None:
    """Killed after the first rung: the second one comes at its time, the first not again."""
    with reach_room(tmp_path, at="2026-09-21T02:00") as room:
        until_told(room, BAD)
        room.turn(3, BAD)
        room.restart()
        room.turn(1.5, BAD)
        assert room.told() == []
        room.turn(0.5, BAD)
        assert names(room.told()) == ["ana-phone", "ana-mail"]


def test_a_channel_that_fails_climbs_at_once(tmp_path: Path) -> None:
    """Her phone is dead: within a minute the mail has it; when that is dead too, the next person."""
    with reach_room(tmp_path, at="2026-09-21T02:00") as room:
        room.by.dead = {"ana-phone"}
        assert until_told(room, BAD)[0][0] == "ana-mail"
        assert room.by.sent == []
        room.turn(8, BAD)
        assert room.told() == [], "her mail was delivered, so the ladder is at its pace"
    with reach_room(_new(tmp_path), at="2026-09-21T02:00") as room:
        room.by.dead = {"ana-phone", "ana-mail"}
        assert until_told(room, BAD) == [("ben-phone", "URGENT t1: low oxygen")]


def _new(folder: Path) -> Path:
    made = folder / "second"
    made.mkdir()
    return made


def test_when_nobody_can_be_reached_it_is_tried_at_its_pace(tmp_path: Path) -> None:
    """All phones dead for two hours: four rungs pass at once, then everyone every half hour, not every second."""
    with reach_room(tmp_path, at="2026-09-21T02:00") as room:
        room.by.dead = {"ana-phone", "ana-mail", "ben-phone", "cleo-phone"}
        room.turn(120, BAD)
        alert = room.service.read.alerts(None)[0].id
        steps = [step for step in room.service.read.alert(alert).steps if step.event == "told"]
        assert len(steps) <= 4 + 4
        assert "Ana, channel 1; Ana, channel 2; Ben, channel 1; Cleo, channel 1" in steps[3].text
        room.by.dead = set()
        room.turn(6, BAD)
        assert {name for name, _ in room.told()} == {"ana-phone", "ana-mail", "ben-phone", "cleo-phone"}


def test_a_dead_receiver_gets_one_message_when_it_is_back_not_four(tmp_path: Path) -> None:
    """What a later telling says again is withdrawn; nobody is waiting unseen."""
    with reach_room(tmp_path, at="2026-09-21T02:00") as room:
        room.by.dead = {"ana-phone", "ana-mail", "ben-phone", "cleo-phone"}
        room.turn(45, BAD)
        assert room.told() == []
        waiting = room.service.read.room(room.now_ms).undelivered
        assert len({row.target for row in waiting}) == 4
        room.by.dead = set()
        room.turn(6, BAD)
        assert sorted(names(room.told())) == ["ana-mail", "ana-phone", "ben-phone", "cleo-phone"]


def test_only_what_is_urgent_breaks_quiet_hours(tmp_path: Path) -> None:
    """Water below its range at 02:00 waits for 07:00, two tanks in one message; in danger it rings at once."""
    with reach_room(tmp_path, at="2026-09-21T02:00") as room:
        room.turn(120, {"p1": 4.6, "p2": 60.0}, 60)
        assert room.told() == []
        room.turn(178, {"p1": 4.6, "p2": 60.0}, 60)
        assert room.told() == []
        room.turn(3, {"p1": 4.6, "p2": 60.0}, 60)
        assert room.clock() == "Mon 07:01"
        assert room.told() == [("ana-phone", "t1: low oxygen and 1 more")]
    with reach_room(_new(tmp_path), at="2026-09-21T02:00") as room:
        room.turn(60, LOW, 60)
        assert room.told() == []
        assert until_told(room, BAD) == [("ana-phone", "URGENT t1: low oxygen")]


def test_what_came_and_went_at_night_is_told_as_over(tmp_path: Path) -> None:
    """Nobody was woken; at 07:00 they hear that it was."""
    with reach_room(tmp_path, at="2026-09-21T02:00") as room:
        room.turn(60, LOW, 60)
        room.turn(240, WELL, 60)
        assert [title for _, title in room.told()] == ["t1: low oxygen is over"]
        assert room.service.store.reach.ladders() == []


def test_several_tanks_in_one_message(tmp_path: Path) -> None:
    """One call for both, worst first, and the promise of the first 160 characters holds."""
    with reach_room(tmp_path, at="2026-09-21T02:00") as room:
        for _ in range(30):
            room.turn(1, BOTH)
            if room.by.sent:
                break
        ((address, title, body),) = room.by.sent
        assert (address, title) == ("ana-phone", "URGENT t1: low oxygen and 1 more")
        for words in ("1 of 2: t1: oxygen 2.5 mg/L, below 3.0 mg/L", "Is the airstone bubbling?"):
            assert words in body[:160]
        assert "2 of 2: t2: oxygen 1.6 mg/L, below 3.0 mg/L" in body


def test_a_second_alert_within_the_minute_waits_for_the_third(tmp_path: Path) -> None:
    """The phone that has just rung rings again a minute later at the earliest, for all that came meanwhile."""
    with reach_room(tmp_path, at="2026-09-21T02:00") as room:
        until_told(room, BAD)
        store = room.service.store
        alert = store.write(lambda: store.state.open_alert(_alert(room.now_ms))).result()
        store.write(lambda: store.reach.start(alert, room.now_ms)).result()
        room.turn(0.5)
        assert room.told() == []
        room.turn(0.5)
        assert room.told() == [("ana-phone", "URGENT t2: heat")]


def _alert(now_ms: int) -> dict[str, object]:
    return {
        "subject": "t2/heat//", "tank": "t2", "kind": "heat", "state": "unacknowledged", "priority": "urgent",
        "since_ms": now_ms, "raised_ms": now_ms, "text": "t2: hot.", "first_check": "Look.",
    }  # fmt: skip


def test_all_clear_goes_to_those_who_were_told_and_only_them(tmp_path: Path) -> None:
    """Ana and Ben heard of it; Cleo did not and hears nothing."""
    with reach_room(tmp_path, at="2026-09-21T02:00") as room:
        until_told(room, BAD)
        room.turn(16, BAD)
        room.told()
        over = until_told(room, WELL)
        assert {title for _, title in over} == {"t1: low oxygen is over"}
        assert names(over) == ["ana-phone", "ana-mail", "ben-phone"]
        room.turn(30, WELL)
        assert room.told() == []


def test_an_acknowledgement_stops_the_ladder_and_runs_out(tmp_path: Path) -> None:
    """Told nothing for 45 minutes; then the danger stands, so the alert calls again, whoever took it first."""
    with reach_room(tmp_path, at="2026-09-21T02:00") as room:
        until_told(room, BAD)
        room.service.records.acknowledge(1, "Ben", "", room.now_ms).result()
        room.turn(44.5, BAD)
        assert room.told() == []
        assert room.service.read.alert(1).state == "acknowledged"
        room.turn(1, BAD)
        ((_, _, body),) = room.by.sent
        assert names(room.told()) == ["ben-phone"]
        assert "Ben acknowledged it 45 min ago, and it still stands." in body
        assert room.service.read.alert(1).state == "unacknowledged"
        room.restart()
        room.turn(5, BAD)
        assert names(room.told()) == ["ben-phone"]
        room.turn(10, BAD)
        assert names(room.told()) == ["ana-phone", "ana-mail"]


def test_worse_after_an_acknowledgement_is_told_again(tmp_path: Path) -> None:
    """Somebody took it when it was low; in danger it rings anew, at night too."""
    with reach_room(tmp_path, at="2026-09-21T13:00") as room:
        assert until_told(room, LOW) == [("ana-phone", "t1: low oxygen")]
        room.service.records.acknowledge(1, "Ana", "", room.now_ms).result()
        room.turn(200, LOW, 60)
        assert room.told() == [], "what is not urgent may stand acknowledged"
        assert until_told(room, BAD) == [("ana-phone", "URGENT t1: low oxygen")]


def test_today_climbs_slowly_and_within_hours(tmp_path: Path) -> None:
    """First person, after an hour by both channels, after four the second, whose hours begin later."""
    people = PEOPLE.replace('"Ben"\n', '"Ben"\nhours = "20:00-22:00"\n').replace(
        '"Cleo"\n', '"Cleo"\nweekdays = "Sun"\n'
    )
    with reach_room(tmp_path, people, at="2026-09-21T13:00") as room:
        assert names(until_told(room, LOW)) == ["ana-phone"]
        room.turn(60, LOW, 60)
        assert names(room.told()) == ["ana-phone", "ana-mail"]
        rang = {}
        for _ in range(60 * 8):
            room.turn(1, LOW, 60)
            if found := names(room.told()):
                rang[room.clock()] = found
        assert rang == {"Mon 20:00": ["ben-phone"]}


def test_room_addresses_without_people(tmp_path: Path) -> None:
    """Told at once, again while nobody acknowledges, once that it is over."""
    notify = '[[notify]]\nname = "bell"\nurl = "json://bell/"\n'
    with reach_room(tmp_path, notify, at="2026-09-21T02:00") as room:
        assert until_told(room, BAD) == [("bell", "URGENT t1: low oxygen")]
        rang = []
        for minute in range(1, 31):
            room.turn(1, BAD)
            rang += [(minute, name) for name, _ in room.told()]
        assert rang == [(5, "bell"), (15, "bell"), (30, "bell")]
        room.turn(30, WELL)
        assert room.told() == [("bell", "t1: low oxygen is over")]


def test_own_times(tmp_path: Path) -> None:
    """The room's own rungs are the ones that count."""
    with reach_room(tmp_path, ladder=LADDER + "urgent_min = [0, 1, 2, 3]\n", at="2026-09-21T02:00") as room:
        until_told(room, BAD)
        room.turn(3.5, BAD)
        assert names(room.told()) == [
            "ana-phone", "ana-mail", "ben-phone", "ana-phone", "ana-mail", "ben-phone", "cleo-phone",
        ]  # fmt: skip


def test_what_waited_is_told_as_it_is_now(tmp_path: Path) -> None:
    """Low at 02:30, lower at 06:50: the message of 07:00 gives the newest value, and how long a probe was quiet."""
    with reach_room(tmp_path, at="2026-09-21T02:00") as room:
        room.turn(270, {"p1": 4.6}, 60)
        room.service.watch.look()
        room.turn(31, {"p1": 4.1}, 60)
        ((_, title, body),) = room.by.sent
        assert title.endswith("and 1 more")
        assert "t1: oxygen 4.1 mg/L, below 5.0 mg/L" in body
        assert "t2: probe quiet for 5 h" in body


def test_a_room_address_that_was_not_told_hears_of_no_end(tmp_path: Path) -> None:
    """The bell was set up while the alert stood: it never heard of it, so it does not hear that it is over."""
    notify = '[[notify]]\nname = "bell"\nurl = "json://bell/"\n'
    with reach_room(tmp_path, at="2026-09-21T13:00") as room:
        assert until_told(room, LOW) == [("ana-phone", "t1: low oxygen")]
        path = room.folder / "room.toml"
        path.write_text(path.read_text(encoding="utf-8") + notify, encoding="utf-8")
        room.restart()
        assert until_told(room, WELL) == [("ana-phone", "t1: low oxygen is over")]
        assert {name for name, _ in until_told(room, BAD)} == {"bell", "ana-phone"}


def test_what_belongs_to_no_alert_reaches_the_first_person(tmp_path: Path) -> None:
    """Such as the end of an air test: there is no ladder to climb, so it comes by every channel at once."""
    notify = '[[notify]]\nname = "bell"\nurl = "json://bell/"\n'
    with reach_room(tmp_path, PEOPLE + notify, at="2026-09-21T02:00") as room:
        warn, store = room.service.warn, room.service.store
        store.write(lambda: warn.post(None, Priority.URGENT, "URGENT t1: air on again", "Now.", room.now_ms)).result()
        store.write(lambda: warn.post(None, Priority.TODAY, "not at night", "Now.", room.now_ms)).result()
        room.round()
        assert room.told() == [
            ("bell", "URGENT t1: air on again"), ("ana-phone", "URGENT t1: air on again"),
            ("ana-mail", "URGENT t1: air on again"), ("bell", "not at night"),
        ]  # fmt: skip


def test_a_reason_given_at_the_start_is_told(tmp_path: Path) -> None:
    """An alert that is told anew says why with its first rung."""
    with reach_room(tmp_path, at="2026-09-21T02:00") as room:
        until_told(room, BAD)
        reach = room.service.store.reach
        room.service.store.write(lambda: reach.keep(Ladder(1, next_ms=room.now_ms, lead="The shelf is over."))).result()
        room.turn(0.5)
        ((_, _, body),) = room.by.sent
        assert "The shelf is over." in body
