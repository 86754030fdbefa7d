"""Chart specifications: valid for the chart library, honest about gaps and flags."""

from __future__ import annotations

from importlib import import_module
from typing import Any

import pytest

from api.domain.quantity import Quantity
from api.services.answers import Series, SeriesLine, SeriesPoint
from dashboard.charts import chart_figure, charted, percent_care, span_of
from dashboard.clock import Clock
from dashboard.figures import figure, gaps_of
from dashboard.theme import LIGHT
from dashboard.units import Units, lens
from dashboard.wall_clock import WallClock
from tests.dashboard.fake_service import FakeService
from tests.dashboard.made_up_room import LOW, NOW_MS, WARMTH

Figure: Any = import_module("plotly.graph_objects").Figure
CLOCK = Clock("Europe/Vienna", NOW_MS)
MINUTE_MS = 60_000


def spec(points: tuple[SeriesPoint, ...], span_s: int = 0, start_ms: int = NOW_MS - 600 * MINUTE_MS) -> dict[str, Any]:
    """A temperature chart of one probe."""
    line = SeriesLine("p<b>", Quantity.TEMPERATURE, False, span_s, points)
    series = Series("a2", Quantity.TEMPERATURE, "Cel", start_ms, NOW_MS, WARMTH, (line,))
    wall = WallClock(CLOCK, start_ms, NOW_MS)
    return figure(series, [], lens(Quantity.TEMPERATURE, Units("f")), wall, LIGHT, "temperature")


def point(minutes_ago: float, value: float | None, flagged: int = 0) -> SeriesPoint:
    """One reading."""
    return SeriesPoint(NOW_MS - round(minutes_ago * MINUTE_MS), value, value, value, flagged)


@pytest.mark.parametrize("look", ["light", "dark"])
@pytest.mark.parametrize("span", ["day", "week", "month"])
@pytest.mark.parametrize(("tank", "quantity"), [("a2", Quantity.OXYGEN), ("b1", Quantity.OXYGEN_SATURATION),
                                                ("b1", Quantity.TEMPERATURE), ("b2", Quantity.PH)])  # fmt: skip
def test_the_chart_library_accepts_every_figure(look: str, span: str, tank: str, quantity: Quantity) -> None:
    """Its own validator raises on any unknown property or value."""
    read = FakeService().read
    shown = span_of(span, "", "", CLOCK)
    series = read.series(tank, quantity, shown.start_ms, shown.end_ms)
    made = chart_figure(series, read.tank(tank, NOW_MS), read.alerts(None), Units("f"), CLOCK, look)
    Figure(data=made["data"], layout=made["layout"])
    assert made["data"]


def test_a_gap_stays_a_gap_and_is_hatched() -> None:
    """The line holds an empty point, is not joined across it, and the gap is filled with a pattern."""
    points = (point(500, 25.0), point(400, 25.0), point(300, None), point(100, 26.0), point(0, 26.0))
    made = spec(points)
    line = next(trace for trace in made["data"] if trace.get("connectgaps") is False)
    assert line["y"] == [77.0, 77.0, None, 78.8, 78.8]
    hatch = next(trace for trace in made["data"] if "fillpattern" in trace)
    assert hatch["fillpattern"]["shape"] == "/"
    assert len([x for x in hatch["x"] if x is None]) == 2  # before the first reading, and in the middle
    series = Series("t", Quantity.PH, "pH", 0, 100, None, (SeriesLine("p", Quantity.PH, False, 0, ()),))
    assert gaps_of(series) == [(0, 100)]


def test_flagged_points_have_another_mark_even_without_a_value() -> None:
    """Crosses; a flagged reading without a usable value stands at the foot."""
    made = spec((point(30, 25.0), point(20, 25.1, flagged=1), point(10, None, flagged=1)))
    crosses = {trace["name"]: trace for trace in made["data"] if trace.get("mode") == "markers"}
    assert crosses["flagged"]["y"] == [pytest.approx(77.18)]
    assert crosses["not usable"]["yaxis"] == "y2"


def test_spans_have_an_envelope_from_lowest_to_highest() -> None:
    """A closed outline a stretch, broken at the gap."""

    def span(minutes_ago: int) -> SeriesPoint:
        return SeriesPoint(NOW_MS - minutes_ago * MINUTE_MS, 25.0, 24.0, 26.0, 0)

    points = (span(120), span(90), point(60, None), span(30))
    made = spec(points, span_s=1800)
    envelope = next(trace for trace in made["data"] if trace.get("fill") == "toself" and "fillcolor" in trace)
    assert envelope["y"].count(None) == 2
    assert [y for y in envelope["y"] if y] == pytest.approx([75.2, 75.2, 78.8, 78.8, 75.2, 78.8])


def test_no_text_of_others_becomes_markup_in_a_chart() -> None:
    """Probe names are escaped; a single probe is not named at all."""
    assert "p<b>" not in str(spec((point(10, 25.0),)))


def test_danger_is_drawn_when_the_water_comes_near_it_and_not_before() -> None:
    """A line well inside its target is not pressed flat by far limits."""
    calm = spec((point(20, 26.0), point(10, 26.1)))
    hot = spec((point(20, 31.5), point(10, 32.5)))
    assert "danger" not in str(calm["layout"]["annotations"])
    assert "danger" in str(hot["layout"]["annotations"])


def test_alerts_are_marks_along_the_top() -> None:
    """One trace a priority, with the words; many alerts are all there."""
    read = FakeService().read
    now = read.tank("a2", NOW_MS)
    series = read.series("a2", Quantity.OXYGEN, NOW_MS - 86_400_000, NOW_MS)
    made = chart_figure(series, now, [LOW], Units(), CLOCK, "light")
    marks = [trace for trace in made["data"] if trace.get("name") == "urgent"]
    assert len(marks) == 1
    assert set(marks[0]["text"]) == {"urgent: low oxygen"}
    many = chart_figure(series, now, [LOW] * 60, Units(), CLOCK, "light")
    assert sum(len(trace["x"]) for trace in many["data"] if trace.get("name") == "urgent") == 3 * 60
    assert marks[0]["x"][0].startswith("2025-03-08 02:28")


def test_chart_times_never_run_backwards_when_the_clock_is_set_back() -> None:
    """26 October 2025 in Vienna: the hour from 02:00 to 03:00 comes twice."""
    end = 1_761_454_800_000  # 2025-10-26 05:00 UTC
    clock = Clock("Europe/Vienna", end)
    wall = WallClock(clock, end - 86_400_000, end)
    texts = [wall.text(end - hours * 3_600_000) for hours in range(24, -1, -1)]
    assert texts == sorted(texts)
    assert len(set(texts)) == 25
    assert wall.clock_changed
    assert wall.offset == "UTC+01:00"


def test_oxygen_is_charted_once_in_the_unit_chosen() -> None:
    """Both amounts seen: the chosen one; only one seen: that one."""
    both = (Quantity.TEMPERATURE, Quantity.OXYGEN, Quantity.OXYGEN_SATURATION)
    assert charted(both, Units()) == [Quantity.TEMPERATURE, Quantity.OXYGEN]
    assert charted(both, Units(oxygen="percent")) == [Quantity.TEMPERATURE, Quantity.OXYGEN_SATURATION]
    assert charted((Quantity.OXYGEN_SATURATION,), Units()) == [Quantity.OXYGEN_SATURATION]
    care = percent_care(FakeService().read.tank("a2", NOW_MS))
    assert care is not None
    assert care.target_low == pytest.approx(74.44, abs=0.01)  # 6.0 of 8.06 mg/L
