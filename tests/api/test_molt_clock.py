"""Degree-days: sums over real water beside a plain computation, gaps, moves, holds and winters."""

from __future__ import annotations

from datetime import UTC, datetime
from itertools import pairwise

import numpy as np
import pandas
import pytest

from api.domain.errors import InputError
from api.domain.husbandry import EventKind, Husbandry
from api.domain.quantity import Quantity
from api.molt.clock import TOGETHER
from api.molt.past import past_of
from api.molt.spans import WINTER_RATE, Spans
from api.molt.species_table import figures_of
from api.molt.warmth import Warmth
from tests.support.french_creek import readings
from tests.trials.molt_plain import DAY_MS, HOUR_MS, at, crayfish, steady

CURVE = ((5.0, 0.0), (22.0, 17.0))
COLD = ((10.0, 0.0), (14.0, 4.0))
"""Bounds that lie inside the stream's range, so that both are crossed every day."""


def stream() -> tuple[list[int], list[float]]:
    """Real temperatures of one logger, every five minutes (tests/published/french_creek.md)."""
    told = [one for one in readings("french_creek_takeover.csv") if one.quantity is Quantity.TEMPERATURE]
    told = [one for one in told if one.probe == "REZN"]
    return [one.time_ms for one in told], [one.value for one in told]


@pytest.mark.parametrize("curve", [CURVE, COLD])
def test_sum_over_a_real_stream(curve: tuple[tuple[float, float], ...]) -> None:
    """Beside a loop that adds one trapezoid after the other, in plain Python."""
    times, values = stream()
    assert len(times) > 300
    low, high = curve[0][0], curve[1][0]
    total = 0.0
    for (t0, v0), (t1, v1) in pairwise(zip(times, values, strict=True)):
        assert t1 - t0 < 3 * HOUR_MS
        r0, r1 = min(max(v0, low), high) - low, min(max(v1, low), high) - low
        total += 0.5 * (r0 + r1) * (t1 - t0) / DAY_MS
    clock = Warmth.of_readings(times, values).clock(curve, 15.0)
    ran, variance, known_d = clock.between(times[0], times[-1])
    assert float(ran) == pytest.approx(total, rel=1e-9)
    assert float(variance) == 0.0
    assert float(known_d) == pytest.approx((times[-1] - times[0]) / DAY_MS)
    middle = times[len(times) // 3]
    parts = [float(clock.between(a, b)[0]) for a, b in ((times[0], middle), (middle, times[-1]))]
    assert sum(parts) == pytest.approx(total, rel=1e-9)


def test_sum_beside_pandas() -> None:
    """Degree-days of the same stream over both of its loggers, by pandas from a record of every minute.

    The record is put on whole minutes by pandas, straight between readings no further apart than three hours.
    """
    told = [one for one in readings("french_creek_takeover.csv") if one.quantity is Quantity.TEMPERATURE]
    times, values = [one.time_ms for one in told], [one.value for one in told]
    record = pandas.Series(values, pandas.to_datetime(times, unit="ms")).groupby(level=0).last()
    minutes = record.resample("1min").interpolate("time")
    apart = record.index.to_series().diff().resample("1min").bfill()
    for low, high in ((5.0, 22.0), (10.0, 14.0)):
        rate = minutes.clip(low, high) - low
        known = (rate.rolling(2).mean() / 1440.0)[apart <= pandas.Timedelta(hours=3)]
        clock = Warmth.of_readings(times, values).clock(((low, 0.0), (high, high - low)), 15.0)
        before, after = (known[known.index < "2012-08-31 09:00"], known[known.index > "2012-09-01 18:00"])
        gap = [round(at.timestamp() * 1000) for at in (before.index[-1], after.index[0] - pandas.Timedelta("1min"))]
        ran = [float(clock.between(a, b)[0]) for a, b in ((min(times), gap[0]), (gap[1], max(times)))]
        # a step that crosses a bound is a trapezoid to us, and two pieces of minutes to pandas
        assert ran == pytest.approx([before.sum(), after.sum()], rel=1e-3)
        assert sum(ran) > 5.0
    known_d = float(clock.between(min(times), max(times))[2])
    assert known_d == pytest.approx(len(known) / 1440.0, abs=1e-6)


def test_long_records_are_summed_in_parts() -> None:
    """Sixty days of minutes with four gaps: beside numpy.trapezoid of each piece at once, at any two times."""
    rng = np.random.default_rng(4)
    times = np.arange(60 * 1440, dtype=np.int64) * 60_000
    kept = np.ones(times.size, bool)
    starts = (5_000, 32_700, 32_767 + 400, 65_400)
    for first in starts:
        kept[first : first + 300] = False
    times, values = times[kept], 15.0 + np.cumsum(rng.normal(0.0, 0.05, times.size))[kept]
    clock = Warmth.of_readings(times, values).clock(CURVE, 15.0)
    rate = np.clip(values, 5.0, 22.0) - 5.0
    assert times.size > 2 * TOGETHER
    for piece in np.split(np.arange(times.size), np.flatnonzero(np.diff(times) > 60_000) + 1):
        ran, variance, known_d = clock.between(times[piece[0]], times[piece[-1]])
        assert float(ran) == pytest.approx(np.trapezoid(rate[piece], times[piece] / DAY_MS), rel=1e-9)
        assert float(variance) == 0.0
        assert float(known_d) == pytest.approx((piece.size - 1) / 1440.0)
        hours = piece[times[piece] % HOUR_MS == 0]
        wanted = np.trapezoid(rate[hours[0] : hours[-1] + 1], times[hours[0] : hours[-1] + 1] / DAY_MS)
        assert float(clock.between(times[hours[0]], times[hours[-1]])[0]) == pytest.approx(wanted, rel=1e-9)


def test_hours_are_as_good_as_readings() -> None:
    """Means of an hour give the stream's sum within 0.5 %, though the bounds are crossed within hours."""
    times, values = stream()
    hour = np.array(times) // HOUR_MS
    whole, place = np.unique(hour, return_inverse=True)
    means = np.bincount(place, values) / np.bincount(place)
    by_hour = Warmth.of_hours(whole * HOUR_MS, means, np.bincount(place))
    start, end = int(whole[1]) * HOUR_MS, int(whole[-1]) * HOUR_MS
    for curve in (CURVE, COLD):
        one = Warmth.of_readings(times, values).clock(curve, 15.0).between(start, end)[0]
        other = by_hour.clock(curve, 15.0).between(start, end)[0]
        assert float(other) == pytest.approx(float(one), rel=5e-3)


def test_order_and_doubles_do_not_matter() -> None:
    """Readings out of order are sorted; of two at one time the later in the list counts."""
    times, values = stream()
    mixed = Warmth.of_readings([*times[::-1], times[5]], [*values[::-1], values[5]])
    straight = Warmth.of_readings(times, values)
    assert mixed.clock(CURVE, 15.0).between(times[0], times[-1])[0] == pytest.approx(
        straight.clock(CURVE, 15.0).between(times[0], times[-1])[0]
    )
    assert Warmth.of_readings([0, 0], [10.0, 20.0]).temperature_c.tolist() == [20.0]


def test_what_is_no_water_is_left_out() -> None:
    """Not a number, masked and impossible temperatures are left out and counted."""
    values = np.ma.masked_array([20.0, np.nan, 20.0, 20.0, 85.0, 20.0], [False, False, True, False, False, False])
    warmth = Warmth.of_readings(np.arange(6) * HOUR_MS, values)
    assert warmth.temperature_c.tolist() == [20.0, 20.0, 20.0]
    assert warmth.left_out == 3
    assert warmth.known_d == pytest.approx(5 / 24)


def test_bad_columns_are_refused() -> None:
    """Words instead of a crash."""
    with pytest.raises(InputError, match="3 times but 2 temperatures"):
        Warmth.of_readings([1, 2, 3], [20.0, 21.0])
    with pytest.raises(InputError, match="2 hours but 1 counts"):
        Warmth.of_hours([0, HOUR_MS], [20.0, 21.0], [3])
    with pytest.raises(InputError, match="hours overlap"):
        Warmth.of_hours([0, HOUR_MS // 2], [20.0, 21.0])
    with pytest.raises(InputError, match="whole milliseconds"):
        Warmth.of_readings([0.0, float("nan")], [20.0, 21.0])


def test_a_gap_is_filled_and_told() -> None:
    """Twenty days of 18 Cel, ten of nothing, ten of 20: filled with 19, uncertain by up to 2 Cel."""
    times = np.concatenate((np.arange(20 * 24), np.arange(30 * 24, 40 * 24))) * HOUR_MS
    values = np.where(times < 25 * DAY_MS, 18.0, 20.0)
    clock = Warmth.of_readings(times, values).clock(CURVE, 15.0)
    ran, variance, known_d = clock.between(0, 40 * DAY_MS - HOUR_MS)
    assert float(ran) == pytest.approx(20 * 13.0 + 10 * 14.0 + 10 * 15.0, abs=2.0)
    assert float(known_d) == pytest.approx(30.0, abs=0.1)
    assert float(variance) ** 0.5 == pytest.approx(2.0 * 10.0, rel=0.02)
    half = clock.between(22 * DAY_MS, 24 * DAY_MS)
    assert float(half[2]) == 0.0
    assert 0.0 < float(half[1]) ** 0.5 <= 3.0 * 2.0


def test_beyond_the_record() -> None:
    """It goes on as in the last week, ever less certain; an old record tells less of what comes."""
    clock = steady(20.0, 30.0).clock(CURVE, 15.0)
    ran, variance, known_d = clock.between(at(30.0), at(40.0))
    assert float(ran) == pytest.approx(150.0)
    assert float(known_d) == 0.0
    assert float(variance) > 0.0
    assert clock.ahead(at(30.0)) == pytest.approx((15.0, 0.5))
    assert clock.ahead(at(60.0))[1] > 2.0
    before = clock.between(at(-10.0), at(0.0))
    assert float(before[0]) == pytest.approx(150.0)


def test_no_record_at_all() -> None:
    """Usual water, off by up to 3 Cel; finite however long ago it was."""
    clock = Warmth().clock(CURVE, 15.0)
    ran, variance, known_d = clock.between(at(0.0), at(10.0))
    assert (float(ran), float(variance), float(known_d)) == pytest.approx((100.0, 900.0, 0.0))
    one = Warmth.of_readings([at(3.0)], [17.0]).clock(CURVE, 15.0).between(at(0.0), at(10.0))
    assert float(one[0]) == pytest.approx(120.0)
    sparse = Warmth.of_readings([at(0.0), at(1.0), at(2.0)], [17.0, 19.0, 18.0]).clock(CURVE, 15.0)
    assert sparse.recent == pytest.approx(13.0)
    assert float(sparse.between(at(0.0), at(2.0))[0]) == pytest.approx(26.0, abs=1.5)


def test_moves_and_holds() -> None:
    """Ten days at 20 Cel, ten at 15 in another tank, five of them berried: the clock stands still."""
    more = [
        Husbandry(EventKind.MOVED, at(10.0), tank="B", animal=1),
        Husbandry(EventKind.EGGS_SEEN, at(12.0), animal=1),
        Husbandry(EventKind.EGGS_LOST, at(17.0), animal=1),
    ]
    past = past_of(crayfish(1, more=more), at(20.0))
    spans = Spans({"A": steady(20.0, 20.0), "B": steady(15.0, 20.0)})
    spans.ask(past, at(0.0), at(20.0))
    spans.ask(past, at(13.0), at(16.0))
    ran = spans.answer()
    assert ran.degree_days.tolist() == pytest.approx([10 * 15.0 + 5 * 10.0, 0.0], abs=0.1)
    assert ran.days.tolist() == pytest.approx([15.0, 0.0])


def test_winter_slows_temperate_species_only() -> None:
    """A year's clock of a mature animal: four months of winter at the winter rate, on either side of the equator."""
    year = [round(datetime(one, 1, 1, tzinfo=UTC).timestamp() * 1000) for one in (2023, 2024)]
    warmth = Warmth.of_hours(np.arange(year[0], year[1], HOUR_MS), np.full(365 * 24, 15.0))
    cold_d = 30 + 31 + 31 + 28
    for north, days in ((True, cold_d), (False, 31 + 30 + 31 + 31)):
        for species, slowed in (("Pacifastacus leniusculus", 1.0 - WINTER_RATE), ("Procambarus clarkii", 0.0)):
            spans = Spans({"A": warmth}, north)
            spans.ask(past_of(crayfish(1, species=species), year[1]), year[0], year[1])
            ran = spans.answer()
            zero = figures_of(species).zero.value
            assert float(ran.thermal[0]) == pytest.approx(365 * (15.0 - zero), rel=1e-3)
            assert float(ran.degree_days[0]) == pytest.approx((365 - slowed * days) * (15.0 - zero), rel=1e-3)
