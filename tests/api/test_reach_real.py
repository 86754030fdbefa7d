"""The ladder through the real library to a real mail server and web receivers, on a test clock."""

from __future__ import annotations

import json
from pathlib import Path

from api.notify.apprise_adapter import AppriseNotifier
from tests.bench.rooms import free_port
from tests.support.http_receiver import Exchange, Receiver, status
from tests.support.reach_room import ReachRoom, reach_room
from tests.support.smtp_receiver import SmtpReceiver

BAD = {"p1": 2.5, "p2": 95.0}


def hears(receiver: Receiver, into: list[str], name: str) -> str:
    """A receiver that notes who rang; its address."""

    def take(exchange: Exchange) -> bool:
        into.append(f"{name}: {json.loads(exchange.body)['title']}")
        exchange.answer(200, {})
        return True

    receiver.always = take
    return receiver.url.replace("http://", "json://")


def real(room: ReachRoom) -> None:
    """From now on messages are really sent."""
    room.notifier = AppriseNotifier()  # type: ignore[assignment]
    room.restart()


def people(phone: str, mail: str, second: str, third: str) -> str:
    """Three people, the first with two channels."""
    rows = (("Ana", [phone, mail]), ("Ben", [second]), ("Cleo", [third]))
    return "".join(f"[[person]]\nname = {json.dumps(name)}\nchannels = {json.dumps(urls)}\n" for name, urls in rows)


def test_nobody_answers(tmp_path: Path) -> None:
    """All four rungs on time: one phone, the phone and the mail, the second phone, everyone; then that it is over."""
    rang: list[str] = []
    with SmtpReceiver() as mail, Receiver() as one, Receiver() as two, Receiver() as three:
        phones = [hears(r, rang, name) for r, name in ((one, "ana"), (two, "ben"), (three, "cleo"))]
        text = people(phones[0], mail.url, *phones[1:])
        with reach_room(tmp_path, text, at="2026-09-21T02:00") as room:
            real(room)
            heard: dict[int, list[str]] = {}
            start_ms: int | None = None
            while start_ms is None or room.now_ms < start_ms + 31 * 60_000:
                room.turn(1, BAD)
                new = [one.split(":")[0] for one in rang] + ["mail"] * len(mail.messages)
                rang.clear()
                mail.messages.clear()
                if new:
                    start_ms = start_ms or room.now_ms
                    heard[(room.now_ms - start_ms) // 60_000] = new
            assert heard == {0: ["ana"], 5: ["ana", "mail"], 15: ["ben"], 30: ["ana", "ben", "cleo", "mail"]}
            room.turn(15, {"p1": 7.5, "p2": 95.0})
            assert sorted(rang) == [f"{name}: t1: low oxygen is over" for name in ("ana", "ben", "cleo")]
            assert [subject for subject, _ in mail.messages] == ["t1: low oxygen is over"]


def test_a_receiver_that_is_down_is_tried_again_and_passed_at_once(tmp_path: Path) -> None:
    """Her phone's receiver is away, her mail's is too: the second phone rings within a minute; hers when it is back."""
    rang: list[str] = []
    gone = f"mailto://127.0.0.1:{free_port()}/?from=room@lab.example&to=ana@lab.example&mode=insecure"
    with Receiver() as one, Receiver() as two:
        first, second = hears(one, rang, "ana"), hears(two, rang, "ben")
        one.always = status(503)
        with reach_room(tmp_path, people(first, gone, second, second), at="2026-09-21T02:00") as room:
            real(room)
            while not rang:
                room.turn(1, BAD)
            assert rang == ["ben: URGENT t1: low oxygen"]
            steps = [step.text for step in room.service.read.alert(1).steps if step.event == "told"]
            assert "Ana could not be reached." in steps[2]
            row = next(row for row in room.service.read.room(room.now_ms).undelivered if row.target == "Ana, channel 1")
            assert row.attempts >= 1
            assert row.last_error
            hears(one, rang, "ana")
            room.turn(6, BAD)
            assert "ana: URGENT t1: low oxygen" in rang
