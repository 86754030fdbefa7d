"""Care profiles: figures beside their sources, contradictions, changes with reasons, the past judged as then."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from api.domain.care import CareRange
from api.domain.care_change import PROFILE, TANK
from api.domain.care_species import BUILT_IN, profile_for
from api.domain.errors import InputError, NotFound, RoomFileError
from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from api.domain.roomfile import parse_room
from api.judge.care_check import doubts, refusals
from api.services.care import DoubtfulCare, Wish
from api.services.export import Selection
from api.services.export_descriptor import describe
from api.services.room_check import check_room
from tests.support.rooms import ROOM, TestRoom, room

T, O2 = Quantity.TEMPERATURE, Quantity.OXYGEN
MINUTE_MS = 60_000


@pytest.fixture
def tanks(tmp_path: Path) -> Iterator[TestRoom]:
    """t1 without a species, t2 with signal crayfish."""
    text = ROOM.replace('id = "t2"\n', 'id = "t2"\nspecies = "Pacifastacus leniusculus"\n', 1)
    with room(tmp_path, text) as made:
        yield made


def built_in(name: str, quantity: Quantity) -> CareRange:
    """A range of a built-in profile."""
    found = next(one for one in BUILT_IN if one.name == name).range_of(quantity)
    assert found is not None
    return found


@pytest.mark.parametrize(
    ("profile", "number", "published", "source"),
    [
        ("warm-water", "target_low", (75 - 32) / 1.8, "common practice, no source"),
        ("warm-water", "target_high", (85 - 32) / 1.8, "common practice, no source"),
        ("red claw", "danger_high", 34.0, "extension text: dies from 34 C"),
        ("red swamp", "target_high", 28.0, "growth trial: 28 C best of 25 to 37"),
        ("marbled", "danger_high", 30.0, "Seitz 2005: higher mortality at 30 C"),
        ("marron", "target_high", 24.0, "CSIRO MF9900735: growth optimum 24 C"),
        ("signal", "danger_high", 28.0, "KMAE 2021 table 2: stress 25 to 28 C"),
        ("noble", "target_high", 20.0, "KMAE 2021 table 2: optimum 19 to 20 C"),
        ("spiny-cheek", "danger_high", 30.0, "KMAE 2021 table 2: stress at 30 C"),
    ],
)
def test_figures_beside_their_sources(profile: str, number: str, published: float, source: str) -> None:
    """Degrees Celsius; the source is named in each row."""
    assert getattr(built_in(profile, T), number) == pytest.approx(published, abs=0.01), source


def test_every_number_of_every_profile_says_where_it_comes_from() -> None:
    """None is left to the range's general line."""
    for profile in BUILT_IN:
        for care in profile.ranges:
            given = [n for n in CareRange.__slots__ if n not in ("quantity", "source", "sources")]
            named = {name for name, source in care.sources if source}
            assert {n for n in given if getattr(care, n) is not None} <= named, (profile.name, care.quantity)


def test_a_tank_gets_its_species_profile_when_none_is_named(tanks: TestRoom) -> None:
    """In any case and spacing; what is not known is warm-water."""
    plan = tanks.service.plan()
    assert (plan.tanks["t1"].care, plan.tanks["t2"].care) == ("warm-water", "signal")
    assert profile_for(" pacifastacus  LENIUSCULUS") == "signal"
    assert profile_for("Homo sapiens") == profile_for("") == "warm-water"


def test_oxygen_no_water_can_hold_is_refused_or_doubted() -> None:
    """Saturation at 101.325 kPa: 8.42 mg/L at 24 C, 7.64 at 29.4 C (Benson and Krause / APHA table, from memory)."""
    warmth = built_in("warm-water", T)
    oxygen = replace(built_in("warm-water", O2), target_low=8.0)
    assert refusals(oxygen, warmth, 101.325, 0.0) == []
    assert "7.6 mg/L at most at 29.44" in doubts(oxygen, warmth, None, 101.325, 0.0)[0]
    assert "8.4 mg/L at most" in refusals(replace(oxygen, target_low=8.6), warmth, 101.325, 0.0)[0]
    assert refusals(oxygen, warmth, 80.0, 0.0), "at 80 kPa (2000 m) 24 C water holds about 6.6 mg/L"
    assert doubts(built_in("warm-water", O2), warmth, None, 101.325, 0.0) == []


def test_warming_a_cool_water_species_is_doubted(tanks: TestRoom) -> None:
    """A person may mean it, and says so."""
    care = tanks.service.care
    wish = Wish(TANK, "t2", T, {"target_high": 24.0})
    with pytest.raises(DoubtfulCare, match="cool-water species"):
        care.change(wish, "Ana", "trial 7")
    care.change(wish, "Ana", "trial 7", confirm=True).result()
    found = care.range_of("t2", T)
    assert found is not None
    assert (found.target_high, found.source_of("target_high")) == (24.0, "Ana: trial 7")


def test_limits_that_contradict_each_other_are_refused(tanks: TestRoom) -> None:
    """A danger limit inside the target, also when only one of the two is changed; nothing is kept."""
    care = tanks.service.care
    with pytest.raises(InputError, match="danger_low 25 is above"):
        care.change(Wish(PROFILE, "warm-water", T, {"danger_low": 25.0}), "Ana", "why not", confirm=True)
    with pytest.raises(InputError, match="cannot be kept"):
        care.change(Wish(TANK, "t1", O2, {"target_low": 9.5}), "Ana", "more is better", confirm=True)
    assert care.history("warm-water") == []


@pytest.mark.parametrize(
    ("wish", "words"),
    [
        (Wish(PROFILE, "nothing", T, {"target_low": 20.0}), "no profile"),
        (Wish(TANK, "t9", T, {"target_low": 20.0}), "no tank"),
        (Wish("room", "t1", T, {"target_low": 20.0}), "no room"),
        (Wish(TANK, "t1", T, {}), "nothing is different"),
        (Wish(TANK, "t1", T, {"colour": 1.0}), "no number of a care range"),
        (Wish(TANK, "t1", T, {"target_low": float("nan")}), "no number that can be used"),
        (Wish(TANK, "t1", T, {"deadband": None}), "needs a number"),
        (Wish(TANK, "t1", T, {"target_low": 25.0}, stage="asleep"), "no stage"),
    ],
)
def test_rubbish_is_refused_with_words(tanks: TestRoom, wish: Wish, words: str) -> None:
    """And nothing is kept."""
    with pytest.raises((InputError, NotFound), match=words):
        tanks.service.care.change(wish, "Ana", "test")
    with pytest.raises(InputError, match="reason"):
        tanks.service.care.change(Wish(TANK, "t1", T, {"target_low": 25.0}), "Ana", " ")
    assert tanks.service.store.care.changes() == []


def test_profile_tank_and_stage_each_stand_above_the_last(tanks: TestRoom) -> None:
    """The nearest word is in force, outlives a restart and the room file, and goes when it is withdrawn."""
    care = tanks.service.care
    care.change(Wish(PROFILE, "warm-water", O2, {"tolerable_low": 5.2}), "Ana", "our water").result()
    care.change(Wish(TANK, "t1", O2, {"tolerable_low": 5.4}), "Ben", "small tank").result()
    care.change(Wish(TANK, "t1", O2, {"tolerable_low": 6.1}, stage="soft"), "Ben", "soft ones").result()
    tanks.restart()
    plan = tanks.service.plan()
    assert plan.care_then is not None
    stages: tuple[tuple[tuple[str, ...], float], ...] = (((), 5.4), (("soft",), 6.1), (("berried",), 5.4))
    for now, limit in stages:
        found = plan.care_then.range_of(plan.tanks["t1"], O2, now)
        assert found is not None
        assert found.tolerable_low == limit
    care = tanks.service.care
    care.change(Wish(TANK, "t1", O2, {"tolerable_low": None}, withdraw=True), "Ana", "moved").result()
    found = care.range_of("t1", O2)
    assert found is not None
    assert found.tolerable_low == 5.2
    assert next((one.person, one.reason) for one in care.history("warm-water")) == ("Ana", "moved")


def test_late_readings_are_judged_by_what_was_in_force_then(tanks: TestRoom) -> None:
    """Oxygen of 5.5 mg/L was inside yesterday and is outside since the change today."""
    tanks.minute(7.5)
    yesterday_ms = tanks.now_ms - 20 * 3_600_000
    care = tanks.service.care
    tanks.now_ms += MINUTE_MS
    care.change(Wish(TANK, "t1", O2, {"tolerable_low": 5.8}), "Ana", "weak air pump").result()
    changed_ms = tanks.now_ms
    plan = tanks.service.plan()
    channel = plan.channel("p1", O2)
    before, after = (plan.in_force(channel, O2, ms).care for ms in (yesterday_ms, changed_ms))
    assert before is not None
    assert after is not None
    assert (before.tolerable_low, after.tolerable_low) == (5.0, 5.8)
    tanks.now_ms += 3 * MINUTE_MS
    tanks.minute(7.5)
    late = [RawReading("p1", O2, yesterday_ms + n * MINUTE_MS, 5.5, "mg/L") for n in range(30)]
    tanks.take(*late)
    tanks.now_ms += 3_600_000
    tanks.service.again.look()
    assert [one for one in tanks.service.read.alerts(None) if one.kind == "low_oxygen"] == []


def test_what_the_room_file_said_is_kept_when_it_changes(tmp_path: Path) -> None:
    """The old numbers stay in force for the past."""
    own = '[[care]]\nname = "ours"\n[care.oxygen]\ntolerable_low = 5.0\n'
    text = ROOM.replace('id = "t1"\n', 'id = "t1"\ncare = "ours"\n', 1) + own
    with room(tmp_path, text) as lab:
        then_ms = lab.now_ms
        lab.now_ms += 3_600_000
        (tmp_path / "room.toml").write_text(text.replace("= 5.0", "= 5.5"), encoding="utf-8")
        lab.restart()
        plan = lab.service.plan()
        limits = [plan.in_force(plan.channel("p1", O2), O2, ms).care for ms in (then_ms, lab.now_ms)]
        assert [one.tolerable_low for one in limits if one is not None] == [5.0, 5.5]
        assert len(lab.service.care.described_since("ours")) == 2


def test_an_export_tells_what_people_changed(tanks: TestRoom) -> None:
    """Of the tanks in it, and of no other."""
    tanks.minute(7.5)
    care = tanks.service.care
    care.change(Wish(TANK, "t1", O2, {"tolerable_low": 5.4}), "Ben", "small tank").result()
    care.change(Wish(TANK, "t2", O2, {"tolerable_low": 6.2}), "Ben", "another tank").result()
    channels = tuple((one, "t1") for one in tanks.service.store.readings.channels())
    body = describe(tanks.service.plan(), Selection(channels, 0, tanks.now_ms), "readings.csv", "csv", tanks.now_ms)
    assert [(one["key"], one["name"], one["value"], one["person"]) for one in body["care_changes"]] == [
        ("t1", "tolerable_low", 5.4, "Ben")
    ]


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("altitude", "", ""),
        ("pressure_kpa = 101.325", "pressure_kpa = 70.0", "cannot be kept (tank t1, t2)"),
        ('id = "t2"\n', 'id = "t2"\nspecies = "Pacifastacus leniusculus"\ncare = "warm-water"\n', "cool-water species"),
    ],
)
def test_a_room_file_that_contradicts_itself_is_warned_of(old: str, new: str, words: str) -> None:
    """Before the first night, by ``intermolt room check``: 6 mg/L cannot be kept at 70 kPa and 24 to 29 °C."""
    said = " ".join(check_room(parse_room(ROOM.replace(old, new, 1) if words else ROOM)))
    assert words in said
    assert bool(words) is ("care =" in said)


@pytest.mark.parametrize(
    "limits", ["target_low = 24.0\ndanger_low = 25.0", "target_high = 20.0\ntolerable_high = 19.0"]
)
def test_a_danger_limit_inside_the_target_is_refused_with_its_line(limits: str) -> None:
    """In the room file as on the page."""
    text = ROOM + f'\n[[care]]\nname = "odd"\n[care.temperature]\n{limits}\n'
    with pytest.raises(RoomFileError, match=r"line \d+.*is above .*Limits must rise"):
        parse_room(text)
