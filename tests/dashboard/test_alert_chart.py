"""An alert's page shows the water around the moment it was told, with the forecast of that moment."""

from __future__ import annotations

import json
from importlib import import_module
from typing import Any

import pytest

from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from api.services.alert_chart import MOST_AFTER_MS
from tests.dashboard.caller import Caller
from tests.support.rooms import TestRoom

Figure: Any = import_module("plotly.graph_objects").Figure


def falling(lab: TestRoom, minutes: int = 420, lowest: float = 2.0) -> int:
    """Oxygen of t1 falls by first order from 7.8 mg/L until an alert is raised and beyond; the alert's number."""
    start_ms, packs = lab.now_ms, []
    for minute in range(minutes):
        at_ms = start_ms + minute * 60_000
        value = 7.8 if minute < 120 else lowest + (7.8 - lowest) * 0.992 ** (minute - 120)
        packs += [
            RawReading("p1", Quantity.TEMPERATURE, at_ms, 26.0 + 0.01 * (minute % 3), "Cel"),
            RawReading("p1", Quantity.OXYGEN, at_ms, value + 0.01 * (minute % 2), "mg/L"),
        ]
    for place in range(0, len(packs), 20):
        lab.now_ms = packs[min(place + 19, len(packs) - 1)].time_ms
        lab.take(*packs[place : place + 20])
    return next(one.id for one in lab.service.read.alerts(None) if one.kind == "low_oxygen")


def figure(site: Caller, number: int, quantity: str = "oxygen", look: str = "light") -> dict[str, Any]:
    """The figure as the page asks for it."""
    answer = site.get(f"/alert/{number}/figure?quantity={quantity}&look={look}")
    assert answer.status_code == 200, answer.text
    return dict(json.loads(answer.text))


@pytest.mark.parametrize("look", ["light", "dark"])
def test_the_page_has_the_chart_with_the_fan(lab: TestRoom, site: Caller, look: str) -> None:
    """Readings, fan, the moment; the chart library takes it; the fan begins at the value of the moment."""
    number = falling(lab)
    page = site.get(f"/alert/{number}")
    assert f'data-figure="/alert/{number}/figure?quantity=oxygen"' in page.text
    assert "style-src 'self' 'sha256-" in page.headers["content-security-policy"]
    made = figure(site, number, look=look)
    Figure(data=made["data"], layout=made["layout"])
    told = lab.service.read.alert(number)
    assert told.foreseen is not None
    expected = next(one for one in made["data"] if one["name"] == "expected then")
    assert expected["y"][0] == pytest.approx(told.foreseen[1], abs=0.01)
    spread = next(one for one in made["data"] if one["name"] == "80 % of it")
    assert max(spread["y"]) > min(spread["y"])
    words = [one["text"] for one in made["layout"]["annotations"]]
    assert "told" in words
    assert made["layout"]["yaxis"]["range"][0] < min(spread["y"])


def test_a_quiet_probe_has_its_quantities_without_a_fan(lab: TestRoom, site: Caller) -> None:
    """Both of them, nothing foretold; of what the alert is not about there is no chart."""
    lab.minute(7.5)
    lab.now_ms += 3_600_000
    lab.take(RawReading("p2", Quantity.TEMPERATURE, lab.now_ms, 78.0, "[degF]"))
    lab.service.watch.look()
    number = next(one.id for one in lab.service.read.alerts(None) if one.kind == "quiet_probe")
    page = site.get(f"/alert/{number}").text
    assert "figure?quantity=temperature" in page
    assert "figure?quantity=oxygen" in page
    assert "expected then" not in [one["name"] for one in figure(site, number)["data"]]
    assert site.get(f"/alert/{number}/figure?quantity=ph").status_code == 404
    assert site.get("/alert/4711/figure?quantity=ph").status_code == 404


def test_a_long_alert_is_shown_around_its_beginning(lab: TestRoom, site: Caller) -> None:
    """Days later the chart still shows that moment, not a flat line of days."""
    number = falling(lab)
    lab.now_ms += 5 * 86_400_000
    alert = lab.service.read.alert(number)
    made = lab.service.alert_charts.chart(alert, Quantity.OXYGEN, lab.now_ms)
    assert made.end_ms <= made.at_ms + MOST_AFTER_MS
    assert made.series.care is not None
    assert figure(site, number)["data"]


def test_the_whole_room_shows_its_tanks_together(lab: TestRoom, site: Caller) -> None:
    """An alert of no tank: a line a probe, and nothing where there is nothing to draw."""
    lab.minute(7.5)
    lab.take(RawReading("p2", Quantity.TEMPERATURE, lab.now_ms, 78.8, "[degF]"))
    state = lab.service.store.state

    def raised(kind: str) -> int:
        row = {
            "subject": f"/{kind}//", "kind": kind, "state": "unacknowledged", "priority": "urgent", "text": "x",
            "since_ms": lab.now_ms, "raised_ms": lab.now_ms, "first_check": "Look.",
        }  # fmt: skip
        return lab.service.store.write(lambda: state.open_alert(row)).result()

    cold, quiet = raised("cold"), raised("quiet_room")
    made = figure(site, cold, "temperature")
    Figure(data=made["data"], layout=made["layout"])
    assert {"p1", "p2"} <= {one["name"] for one in made["data"]}
    assert "data-figure" in site.get(f"/alert/{cold}").text
    assert "data-figure" not in site.get(f"/alert/{quiet}").text


def test_the_worst_value_of_what_stands_is_that_of_now(lab: TestRoom, site: Caller) -> None:
    """The record knows the value it was told at; the page says how far the water went since."""
    number = falling(lab)
    worst = lab.service.read.alert(number).worst
    assert worst is not None
    assert worst < 3.0
    for page in (f"/alert/{number}", "/alerts", "/tank/t1"):
        assert f"worst so far</dt><dd>{worst:.1f} mg/L" in site.get(page).text, page
    assert "<caption>pH</caption>" in site.get("/care/warm-water").text
