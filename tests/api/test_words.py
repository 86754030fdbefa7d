"""What a keeper reads at 03:10: the first 160 characters say tank, value, limit, trend and the first thing to check."""

from __future__ import annotations

from dataclasses import replace

import pytest

from api.domain.alert import AlertEvent, AlertKind, Event, Priority, Subject
from api.domain.cause import Cause, CauseName
from api.domain.quantity import Quantity
from api.domain.words import KIND_WORDS, duration
from api.judge.outlook import NOTHING, Outlook
from api.judge.words import (
    CAUTION,
    FIRST_CHECK,
    FIRST_CHECK_OF,
    amount,
    brief,
    cause_words,
    first_check,
    first_thing,
    text,
    title,
    trend_words,
)

HOUR_MS = 3_600_000


def event(
    kind: AlertKind, what: Event = Event.RAISED, value: float | None = 4.6, limit: float | None = 5.0
) -> AlertEvent:
    """An event of t1 that began an hour ago."""
    quantity = {AlertKind.LOW_OXYGEN: Quantity.OXYGEN, AlertKind.HEAT: Quantity.TEMPERATURE}.get(kind)
    return AlertEvent(Subject("t1", kind, "p1", quantity), what, 2 * HOUR_MS, Priority.URGENT, value, limit, HOUR_MS)


def test_low_oxygen_with_its_trend() -> None:
    """All of it in the first 160 characters."""
    said = text(event(AlertKind.LOW_OXYGEN), "Nursery 7", Outlook(-0.8, 3.0, 7200.0), 2 * HOUR_MS)[:160]
    for words in (
        "Nursery 7: oxygen 4.6 mg/L, below 5.0 mg/L.",
        "Falling 0.8 mg/L per hour, 2 h to 3.0 mg/L at this rate.",
        "Is the airstone bubbling?",
    ):
        assert words in said


def test_without_a_trend_none_is_claimed() -> None:
    """Value, limit, first check."""
    said = text(event(AlertKind.HEAT, value=35.0, limit=34.0), "A", NOTHING, 2 * HOUR_MS)
    assert said == f"A: temperature 35.0 °C, above 34.0 °C. {FIRST_CHECK[AlertKind.HEAT]}"


def test_silence_says_for_how_long() -> None:
    """It has no value."""
    said = text(event(AlertKind.QUIET_PROBE, value=None, limit=None), "A", NOTHING, 2 * HOUR_MS)
    assert said.startswith("A: probe quiet for 1 h. Look at the animal first")


def test_the_interval_and_the_likely_cause() -> None:
    """Before the limit: where it stands, how fast, how long, how sure, what it may be, what to look at first."""
    evidence = ("falls by 1.5 mg/L an hour, as lost air explains (up to 2.2)",)
    cause = Cause(CauseName.LOST_AIR, 0.8, evidence)
    early = replace(event(AlertKind.LOW_OXYGEN, value=6.1, limit=3.0), causes=(cause,))
    said = text(early, "Nursery 7", Outlook(-1.5, 3.0, 7500.0, 6600.0, 9000.0), 2 * HOUR_MS)
    assert said[:160].startswith(
        "Nursery 7: oxygen 6.1 mg/L. Falling 1.5 mg/L per hour, 2 h 5 min to 3.0 mg/L (80 %: 1 h 50 min to 2 h 30 min)."
        " Likely air lost. Is the airstone bubbling?"
    )
    assert said.endswith(f"Why: {evidence[0]}.")
    perhaps = text(early, "A", Outlook(-1.5, 3.0, 7500.0, 6600.0, None), 2 * HOUR_MS)
    assert "(80 %: 1 h 50 min to never)" in perhaps


PAIRS = [
    (AlertKind.LOW_OXYGEN, Quantity.OXYGEN, 4.6, 5.0), (AlertKind.LOW_OXYGEN, Quantity.OXYGEN_SATURATION, 55.0, 60.0),
    (AlertKind.HEAT, Quantity.TEMPERATURE, 31.2, 31.0), (AlertKind.COLD, Quantity.TEMPERATURE, 18.2, 20.0),
    (AlertKind.OUTSIDE_CARE, Quantity.HARDNESS, 30.0, 50.0), (AlertKind.OUTSIDE_CARE, Quantity.AMMONIA, 1.9, 1.8),
    (AlertKind.OUTSIDE_CARE, Quantity.PH, 6.31, 6.5),
]  # fmt: skip


@pytest.mark.parametrize("cause", [None, *CauseName])
@pytest.mark.parametrize(("kind", "quantity", "value", "limit"), PAIRS)
def test_all_that_is_read_first_is_in_160_characters(
    kind: AlertKind, quantity: Quantity, value: float, limit: float, cause: CauseName | None
) -> None:
    """Tank, value, limit, trend, time left, first thing to check; what does not fit stands behind it, and stands."""
    causes = (Cause(cause, 0.9, ("it falls",)),) if cause is not None else ()
    one = replace(event(kind, value=value, limit=limit), subject=Subject("t1", kind, "p1", quantity), causes=causes)
    left = Outlook(-1.5, 3.0, 7500.0, 6600.0, 9000.0)
    said = text(one, "Nursery rack 7", left, 2 * HOUR_MS)
    first = first_thing(first_check(one))
    for words in (
        "Nursery rack 7: ",
        amount(value, quantity),
        brief(limit, quantity),
        "per hour",
        "2 h 5 min to",
        first,
    ):
        assert words in said[:160], (words, said)
    assert "80 %: 1 h 50 min to 2 h 30 min" in said
    assert cause in (None, CauseName.NOT_KNOWN) or cause_words(one).strip() in said


def test_a_cause_that_is_hardly_likely_is_not_told_first() -> None:
    """Half asleep nobody weighs thirty percent."""
    unsure = replace(event(AlertKind.LOW_OXYGEN), causes=(Cause(CauseName.RISING_DEMAND, 0.3, ("it falls",)),))
    said = text(unsure, "A", NOTHING, 2 * HOUR_MS)
    assert "Likely" not in said
    assert FIRST_CHECK[AlertKind.LOW_OXYGEN] in said


def test_the_whole_room_in_one_message() -> None:
    """How many tanks, what it may be, what to look at."""
    cause = Cause(CauseName.POWER_CUT, 0.8, ("6 of 8 tanks at the same time", "air and heaters went together"))
    room = AlertEvent(
        Subject(None, AlertKind.LOW_OXYGEN), Event.RAISED, 1, Priority.URGENT, None, None, 1, causes=(cause,)
    )
    assert text(room, "Lantern Row", NOTHING, 1) == (
        "Lantern Row: low oxygen, 6 of 8 tanks at the same time. Likely power cut. "
        f"{FIRST_CHECK_OF[CauseName.POWER_CUT]} Why: air and heaters went together."
    )


@pytest.mark.parametrize("what", [Event.RETURNED, Event.CLEARED])
def test_over(what: Event) -> None:
    """The value now and how long it stood; no urgency in the title."""
    over = event(AlertKind.LOW_OXYGEN, what, 6.2, None)
    assert text(over, "A", NOTHING, 2 * HOUR_MS) == "A: low oxygen is over. Now 6.2 mg/L. It stood for 1 h."
    assert title(over, "A") == "A: low oxygen is over"


def test_titles_and_words_for_every_kind() -> None:
    """No kind is without words or a first thing to check, and no advice is to work on live mains."""
    assert set(KIND_WORDS) == set(FIRST_CHECK) == set(AlertKind)
    assert title(event(AlertKind.QUIET_ROOM), "Room") == "URGENT Room: whole room quiet"
    assert "dry hands" in CAUTION


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (0, "0 s"), (89, "89 s"), (90, "2 min"), (3569, "59 min"), (3570, "1 h"), (3599, "1 h"), (12_000, "3 h 20 min"),
        (35.99 * 3600, "35 h 59 min"), (36 * 3600, "2 days"), (10 * 86_400, "10 days"),
    ],
)  # fmt: skip
def test_durations(seconds: float, words: str) -> None:
    """As a keeper says them."""
    assert duration(seconds) == words


def test_amounts_and_trends() -> None:
    """At the decimals worth showing."""
    assert amount(7.249, Quantity.OXYGEN) == "7.2 mg/L"
    assert amount(7.249, Quantity.PH) == "7.25 pH"
    assert trend_words(NOTHING, Quantity.OXYGEN) == ""
    assert trend_words(Outlook(0.0, None, None), Quantity.OXYGEN) == "steady"
    assert trend_words(Outlook(0.5, None, None), Quantity.TEMPERATURE) == "rising 0.5 °C per hour"
