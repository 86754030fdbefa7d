"""The morning report as a message: the sum of the night first, then tank by tank, shortly. Must not do: compute."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, tzinfo

from api.domain.band import Band, Side
from api.domain.people import WEEKDAYS
from api.domain.quantity import MEANING, Quantity
from api.domain.words import KIND_WORDS, duration
from api.judge.night import LONG_GAP_S
from api.judge.rota import local_of
from api.judge.words import amount
from api.services.morning_answers import MorningReport, NightAlert, NightQuantity, NightTank

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
MOST_LINES = 12
SIDE_WORDS = {Side.LOW: "below", Side.HIGH: "above"}
EXTREME_WORDS = {Side.LOW: "lowest", Side.HIGH: "highest"}


@dataclass(frozen=True, slots=True)
class Say:
    """How a value, and a change of one, is said: in the units of whoever reads it."""

    amount: Callable[[float, Quantity], str]
    difference: Callable[[float, Quantity], str]


def title(report: MorningReport, room: str) -> str:
    """A message's title."""
    day = date.fromisoformat(report.day)
    return f"Morning report of {room}, {WEEKDAYS[day.weekday()]} {day.day} {MONTHS[day.month - 1]}"


def body(report: MorningReport, zone: tzinfo, link: str = "") -> str:
    """A message's text; its first line says whether anything was wrong. ``link``: where all of it is."""
    lines = [summary(report), *(tank_line(one, zone) for one in report.astray[:MOST_LINES])]
    if len(report.astray) > MOST_LINES:
        lines.append(f"and {len(report.astray) - MOST_LINES} tanks more.")
    if report.distrusted:
        said = (f"{one.probe} ({one.tank_name}) {', '.join(one.why)}" for one in report.distrusted[:MOST_LINES])
        lines.append(f"Not to be trusted: {'; '.join(said)}.")
    if report.done:
        some = report.done[-MOST_LINES:]
        said = (f"{_clock(one.time_ms, zone)} {one.person} {_at(one.tank)}{one.what}" for one in some)
        lines.append(f"Done: {'; '.join(said)}.")
    if report.due:
        lines.append(f"Due today: {'; '.join(one.what for one in report.due[:MOST_LINES])}.")
    if link:
        lines.append(f"All of it: {link}")
    return "\n".join(lines)


def summary(report: MorningReport) -> str:
    """The night in a sentence."""
    alerts = [*report.room_alerts, *(alert for tank in report.tanks for alert in tank.alerts)]
    left = [one for one in report.astray if one.band is not Band.UNKNOWN]
    unknown = len(report.astray) - len(left)
    parts = [f"{_of(len(left), len(report.tanks))} left their target" if left else "no tank left its target"]
    if unknown:
        parts.append(f"{_of(unknown, len(report.tanks))} not known")
    if report.distrusted:
        parts.append(f"{len(report.distrusted)} {_many('probe', len(report.distrusted))} not to be trusted")
    stand = f", {report.standing} standing now" if report.standing else ""
    parts.append(f"{len(alerts)} {_many('alert', len(alerts))}{stand}" if alerts or stand else "no alert")
    return f"The night: {'; '.join(parts)}."


def tank_line(tank: NightTank, zone: tzinfo) -> str:
    """One tank's night in a line."""
    said = [words for one in tank.quantities for words in quantity_words(one, zone)]
    said += [alert_words(one, zone) for one in tank.alerts]
    return f"{tank.tank.name}: {'; '.join(said) or 'nothing is known'}."


def quantity_words(one: NightQuantity, zone: tzinfo, say: Say | None = None) -> list[str]:
    """What is worth saying of a quantity's night; ``say`` None: in the canonical units."""
    say = say or CANONICAL
    label, water = MEANING[one.quantity].label, one.water
    if water is None:
        return [f"{label} of {one.probe} not known"]
    said = []
    for out in water.outside:
        words = f"{label} {SIDE_WORDS[out.side]} target for {duration(out.for_s)}"
        if out.danger_s:
            words += f", in danger for {duration(out.danger_s)}"
        at = _clock(out.extreme_ms, zone)
        said.append(f"{words}, {EXTREME_WORDS[out.side]} {say.amount(out.extreme, one.quantity)} at {at}")
    if water.drifted:
        said.append(f"{label} drifted by {say.difference(water.change, one.quantity)}")
    if water.gap_s >= LONG_GAP_S:
        said.append(f"{label} not known for {duration(water.gap_s)}")
    return said


def difference(change: float, quantity: Quantity) -> str:
    """A signed change; of temperatures in kelvin, so that it is not taken for a temperature."""
    meaning = MEANING[quantity]
    unit = "K" if quantity is Quantity.TEMPERATURE else meaning.unit_label
    rounded = round(change, meaning.decimals) or 0.0  # no negative zero
    return f"{rounded:+.{meaning.decimals}f} {unit}"


CANONICAL = Say(amount, difference)


def alert_words(alert: NightAlert, zone: tzinfo) -> str:
    """One alert of the night."""
    until = f"to {_clock(alert.ended_ms, zone)}" if alert.ended_ms is not None else "and still"
    who = f", {alert.person} saw to it" if alert.person else ""
    late = ", found late" if alert.found_late else ""
    return f"alert {KIND_WORDS[alert.kind]} from {_clock(alert.since_ms, zone)} {until}{late}{who}"


def _clock(time_ms: int, zone: tzinfo) -> str:
    return f"{local_of(time_ms, zone):%H:%M}"


def _at(tank: str) -> str:
    return f"at {tank} " if tank else ""


def _of(count: int, all_: int) -> str:
    return f"{count} of {all_} {_many('tank', all_)}"


def _many(word: str, count: int) -> str:
    return word if count == 1 else f"{word}s"
