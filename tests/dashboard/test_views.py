"""Words, times, units, scales and strips: the pure half of the pages."""

from __future__ import annotations

from dataclasses import replace

import pytest

from api.domain.alert import AlertState
from api.domain.band import Band, Side
from api.domain.care import WARM_WATER, CareRange
from api.domain.errors import InputError
from api.domain.quantity import Quantity
from api.domain.words import duration
from api.services.answers import AlertStep, StripCell
from dashboard.alerts import alert_view, standing_first
from dashboard.clock import Clock
from dashboard.notices import notices_of
from dashboard.readings import UNJUDGED, reading_views
from dashboard.retold import retold
from dashboard.scale import scale_of
from dashboard.strip import CELLS, strip_of
from dashboard.units import Units, lens
from dashboard.views import head_view, needs_attention, room_view
from dashboard.words import count, joined
from tests.dashboard.made_up_room import NOW_MS, PAST, WARMTH, latest, pair, room, strip

CLOCK = Clock("Europe/Vienna", NOW_MS)
DAY_MS = 86_400_000


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (0, "0 s"),
        (89, "89 s"),
        (90, "2 min"),
        (3599, "1 h"),
        (12_000, "3 h 20 min"),
        (7200, "2 h"),
        (200_000, "2 days"),
    ],
)
def test_durations_are_said_as_a_keeper_says_them(seconds: float, words: str) -> None:
    """Seconds, minutes, hours, days."""
    assert duration(seconds) == words


def test_counts_and_lists_are_plain_english() -> None:
    """One and many."""
    assert (count(1, "tank"), count(3, "tank")) == ("1 tank", "3 tanks")
    assert (joined([]), joined(["a"]), joined(["a", "b", "c"])) == ("", "a", "a, b and c")


def test_times_are_the_rooms_and_carry_the_date_when_it_is_not_today() -> None:
    """03:10 in Vienna is 02:10 UTC in winter."""
    assert CLOCK.moment(NOW_MS).text == "03:10"
    assert CLOCK.moment(NOW_MS).iso == "2025-03-08T03:10:00+01:00"
    assert CLOCK.moment(NOW_MS - DAY_MS).text == "7 Mar 03:10"
    assert CLOCK.moment(NOW_MS - 100 * DAY_MS).text == "28 Nov 2024 03:10"
    assert CLOCK.parse(CLOCK.field(NOW_MS)) == NOW_MS
    with pytest.raises(InputError):
        CLOCK.parse("noon")
    with pytest.raises(InputError):
        CLOCK.parse("0001-01-01T00:00")


def test_units_show_the_same_water() -> None:
    """0 Cel is 32 °F and 100 is 212 (the scales' definition); 4.0 of 8.0 mg/L is half."""
    fahrenheit = lens(Quantity.TEMPERATURE, Units("f"))
    assert (fahrenheit.text(0), fahrenheit.text(100)) == ("32.0 °F", "212.0 °F")
    assert fahrenheit.per_hour(-1.0) == "1.8 °F per hour"
    assert lens(Quantity.OXYGEN, Units(oxygen="percent"), 8.0).text(4.0) == "50 %"
    assert lens(Quantity.OXYGEN, Units(oxygen="percent"), None).text(4.0) == "4.0 mg/L"
    assert lens(Quantity.TEMPERATURE, Units()).number(-0.01) == "0.0"
    assert Units.of("rubbish", None) == Units("c", "mg")


def test_a_quiet_probe_has_no_current_number() -> None:
    """Its old value stands in the words only."""
    (view,) = reading_views([latest("p", Quantity.TEMPERATURE, 25.0, Band.TARGET, care=WARMTH, quiet=True, age_min=12)],
                            Units(), CLOCK, None)  # fmt: skip
    assert (view.number, view.mark, view.word) == ("", "unknown", "not known")
    assert view.doubt == "probe quiet for 12 min, last 25.0 °C at 02:58"
    assert view.scale is not None
    assert view.scale.place is None


def test_a_probe_never_heard_and_a_value_never_judged_are_said_so() -> None:
    """Neither is good, neither is blank."""
    never = latest("p", Quantity.TEMPERATURE, None, Band.UNKNOWN, care=WARMTH, age_min=None)
    ph = latest("q", Quantity.PH, 7.4, Band.UNKNOWN)
    first, second = reading_views([ph, never], Units(), CLOCK, None)
    assert (first.doubt, first.mark) == ("this probe was never heard", "unknown")
    assert (second.mark, second.word) == (UNJUDGED, "no care range set")


def test_oxygens_two_amounts_are_one_reading() -> None:
    """The chosen amount leads, the other stands beside it, the care range is kept."""
    both = pair("p", 4.1, 51, Band.OUTSIDE, Side.LOW, -0.3)
    (mg,) = reading_views(both, Units(), CLOCK, 8.06)
    (percent,) = reading_views(both[::-1], Units(oxygen="percent"), CLOCK, 8.06)
    assert (mg.number, mg.unit, mg.other, mg.word) == ("4.1", "mg/L", "51 %", "outside, low")
    assert (percent.number, percent.unit, percent.other, percent.mark) == ("51", "%", "4.1 mg/L", "outside")
    assert percent.limits[0] == ("target", "74 % and up")  # 6.0 of 8.06 mg/L


def _zone_at(care: CareRange, value: float) -> Band:
    scale = scale_of(care, value)
    assert scale is not None
    assert scale.place is not None
    return next(zone.band for zone in scale.zones if zone.x <= scale.place <= zone.x + zone.width)


@pytest.mark.parametrize(
    ("value", "band"),
    [
        (5.0, Band.DANGER), (12.0, Band.OUTSIDE), (19.9, Band.OUTSIDE), (20.0, Band.TOLERABLE), (23.889, Band.TARGET),
        (29.444, Band.TARGET), (29.5, Band.TOLERABLE), (31.0, Band.TOLERABLE), (31.1, Band.OUTSIDE),
        (34.0, Band.OUTSIDE), (34.1, Band.DANGER), (90.0, Band.DANGER),
    ],
)  # fmt: skip
def test_the_place_on_the_scale_lies_in_the_values_band(value: float, band: Band) -> None:
    """Bands written out by hand from the profile's limits; a limit belongs to the better band."""
    care = WARM_WATER.range_of(Quantity.TEMPERATURE)
    assert care is not None
    assert _zone_at(care, value) is band


def test_scales_with_one_side_and_with_none() -> None:
    """Oxygen has no upper limit; a range without limits has no scale."""
    care = WARM_WATER.range_of(Quantity.OXYGEN)
    assert care is not None
    assert _zone_at(care, 50.0) is Band.TARGET
    assert _zone_at(care, 0.0) is Band.DANGER
    assert scale_of(CareRange(Quantity.PH), 7.0) is None
    assert scale_of(None, 7.0) is None


def test_a_strip_covers_the_day_and_what_was_not_given_is_not_known() -> None:
    """288 cells of 5 minutes; runs add up to all of it."""
    made = strip_of(strip((Band.TARGET, 200), (Band.DANGER, 12)), CLOCK)
    assert [run.band for run in made.runs] == [Band.UNKNOWN, Band.TARGET, Band.DANGER]
    assert sum(run.width for run in made.runs) == pytest.approx(100, abs=0.01)
    assert made.summary == "Last 24 hours: danger 1 h, not known 6 h 20 min and target 16 h 40 min."
    assert [tick.text for tick in made.ticks] == ["06:00", "12:00", "18:00", "00:00"]
    assert [run.band for run in strip_of((), CLOCK).runs] == [Band.UNKNOWN]
    stray = StripCell(NOW_MS + DAY_MS, Band.TARGET)
    assert strip_of((stray,), CLOCK).runs[0].width == pytest.approx(100)


def test_ticks_follow_the_rooms_clock_through_a_change() -> None:
    """On 30 March 2025 clocks in Vienna go from 02:00 to 03:00: 06:00 comes five hours after midnight."""
    clock = Clock("Europe/Vienna", 1_743_328_800_000)  # 2025-03-30 12:00 in Vienna
    ticks = {tick.text: tick.x for tick in strip_of((), clock).ticks}
    hour = 100 / 24
    assert ticks["06:00"] - ticks["00:00"] == pytest.approx(5 * hour, abs=0.01)
    assert CELLS == 288


def test_standing_alerts_come_in_the_order_they_need_a_person() -> None:
    """Not acknowledged, acknowledged, then over but not acknowledged."""
    view = room_view(room(), Units())
    assert [alert.id for alert in view.waiting] == [41, 40]
    alerts = [one for now in room().tanks for one in now.alerts]
    assert [one.state for one in standing_first(alerts)][-1] is AlertState.ACKNOWLEDGED


def test_a_tank_that_is_on_its_way_out_needs_attention_before_it_is_out() -> None:
    """Tolerable now, 45 minutes left: the head line must not say that all is in range."""
    made = room()
    calm = made.tanks[-1]
    assert not needs_attention(calm)
    falling = replace(calm, band=Band.TOLERABLE, time_left_s=2700.0, urgency=(6, 2700.0, 0))
    assert needs_attention(falling)
    assert not needs_attention(replace(falling, time_left_s=None, urgency=(11, 0.0, 0)))
    assert not needs_attention(replace(falling, band=Band.TARGET))
    assert head_view(replace(made, tanks=(calm,)), CLOCK).attention == "all 1 tank in range"
    assert head_view(replace(made, tanks=(falling,)), CLOCK).attention == "1 of 1 tank needs attention"


def test_alert_texts_are_retold_in_the_chosen_unit() -> None:
    """31.0 Cel is 87.8 [degF], a rate has no offset; other units, other numbers and other quantities stay."""
    text = (
        "Temperature 31.6 °C, above 31.0 °C. Falling 0.5 °C per hour, 3 h 20 min to \N{MINUS SIGN}1.0 °C at this rate."
    )
    fahrenheit = Units("f", "mg")
    assert retold(text, Quantity.TEMPERATURE, fahrenheit, None) == (
        "Temperature 88.9 °F, above 87.8 °F. Falling 0.9 °F per hour, 3 h 20 min to 30.2 °F at this rate."
    )
    assert retold(text, Quantity.TEMPERATURE, Units(), None) == text
    assert retold(text, Quantity.OXYGEN, Units("f", "percent"), 8.0) == text
    assert retold(text, None, fahrenheit, None) == text
    low = "Oxygen 4.0 mg/L, below 5.0 mg/L."
    assert retold(low, Quantity.OXYGEN, Units("c", "percent"), 8.0) == "Oxygen 50 %, below 62 %."
    assert retold(low, Quantity.OXYGEN, Units("c", "percent"), None) == low


def test_readings_on_their_way_are_no_news_but_a_backlog_is() -> None:
    """A working collector always has a few in hand."""
    made = room()
    few, many = (
        [one.title for one in notices_of(replace(made, collectors=(replace(made.collectors[0], waiting=n),)), CLOCK)]
        for n in (12, 500)
    )
    assert not any("wait at" in title for title in few)
    assert any("500 readings wait at" in title for title in many)


def test_a_cell_that_has_just_begun_shows_the_present_band() -> None:
    """A probe that speaks each minute leaves the newest cell empty for a while; that is no gap, a quiet probe is."""
    cells = strip((Band.TARGET, CELLS - 1), (Band.UNKNOWN, 1))
    assert [run.band for run in strip_of(cells, CLOCK, Band.TARGET).runs] == [Band.TARGET]
    assert [run.band for run in strip_of(cells, CLOCK, Band.UNKNOWN).runs] == [Band.TARGET, Band.UNKNOWN]
    earlier = strip((Band.TARGET, CELLS - 2), (Band.UNKNOWN, 1), (Band.TARGET, 1))
    assert Band.UNKNOWN in [run.band for run in strip_of(earlier, CLOCK, Band.TARGET).runs]


def test_of_equally_urgent_alerts_the_tank_with_less_time_left_is_called_first() -> None:
    """The calls at the top follow the order of the strips below, whichever alert is older."""
    made = room()
    one, other = made.tanks[0], made.tanks[1]
    older = replace(one.alerts[0], id=50, tank=other.tank.id, since_ms=one.alerts[0].since_ms - 60_000)
    both = replace(made, tanks=(one, replace(other, alerts=(older,)), *made.tanks[2:]))
    assert [view.id for view in room_view(both, Units()).waiting] == [one.alerts[0].id, 50]
    swapped = replace(both, tanks=(both.tanks[1], both.tanks[0], *both.tanks[2:]))
    assert [view.id for view in room_view(swapped, Units()).waiting] == [50, one.alerts[0].id]


def test_what_a_long_message_puts_behind_the_first_check_is_still_shown() -> None:
    """The interval and the cause, not the evidence, which has its own place; in the keeper's unit."""
    check = "Is the airstone bubbling? Check the airline."
    text = (
        f"Tank 9: oxygen saturation 55 % of air saturation, below 60 %. Falling 2 % per hour, 2 h to 30 %. {check}"
        " 80 %: 1 h 50 min to 2 h 30 min. Likely air lost. Why: it falls."
    )
    alert = replace(
        PAST, tank_name="Tank 9", text=text, first_check=check, quantity=Quantity.OXYGEN_SATURATION, tank="t9"
    )
    view = alert_view(alert, Units(), Clock("UTC", NOW_MS), {"t9": 8.0})
    assert view.text == (
        "Oxygen saturation 4.4 mg/L, below 4.8 mg/L. Falling 0.2 mg/L per hour, 2 h to 2.4 mg/L."
        " 80 %: 1 h 50 min to 2 h 30 min. Likely air lost."
    )


def test_the_same_step_again_and_again_is_one_line() -> None:
    """With how often, and until when; another step between parts them."""
    told = [AlertStep("told", NOW_MS + n * 60_000, "", "Ana, channel 1.") for n in range(4)]
    steps = (*told[:3], AlertStep("acknowledged", NOW_MS + 150_000, "Ana", "going"), told[3])
    view = alert_view(replace(PAST, steps=steps), Units(), Clock("UTC", NOW_MS), {})
    until = Clock("UTC", NOW_MS).moment(NOW_MS + 120_000).text
    assert [one.word for one in view.steps] == [f"told 3 times until {until}", "acknowledged", "told"]
