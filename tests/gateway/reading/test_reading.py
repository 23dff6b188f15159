"""What the trends get: sent and loaded rows together, doubt kept, periods chosen by rule."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from edge.quantities import STATES, State
from edge.wire import Refused
from gateway.history.chunks import ABSENT
from gateway.history.loaded import Columns
from gateway.history.sqlite_read import SqliteReader
from gateway.history.sqlite_store import SqliteHistory
from gateway.reading.notes import dead_spans
from gateway.reading.periods import asked_period, compared_periods
from gateway.reading.site import (
    EVERY_SUM,
    InsulatorRows,
    extent_us,
    interval_columns,
    weather_columns,
)
from gateway.trends.columns import DAY_US, Period
from tests.gateway.build import MINUTE_US, START_US, commit, interval
from tests.gateway.commands.running import SITE, csv_file, load

EVER = Period(0, 1 << 61)
DAY = "2026-11-24"


@pytest.fixture
def rows(tmp_path: Path) -> Iterator[SqliteReader]:
    """Minutes 0 to 4 were sent for A1; 10 and 11 were loaded, and minute 2 once more."""
    writer = SqliteHistory(tmp_path / "history").writer(SITE)
    sent = [interval(minute) for minute in range(4)]
    sent.append(interval(4, flags=("sensor-fault",), state=State.UNKNOWN, rms_na=None))
    writer.append(commit(1, sent))
    writer.close()
    loaded = csv_file(
        tmp_path,
        "rows.csv",
        "insulator,start,seconds,rms_ma,state,flags,charge_positive_c,charge_negative_c,charge_c",
        f"A1,{DAY}T00:10:00Z,60,1.5,dry,late,0.5,0.25,",
        f"A1,{DAY}T00:11:00Z,60,,,saturated,,,2",
        f"A1,{DAY}T00:02:00Z,60,9,,,,,",
        f"A1,{DAY}T00:20:00Z,60,9,,,,,",
    )
    dead = csv_file(
        tmp_path,
        "line.csv",
        "start,seconds,line_status",
        f"{DAY}T00:20:00Z,300,out-of-service",
        f"{DAY}T00:00:00Z,300,in-service",
    )
    assert load(tmp_path, loaded, dead).code == 0
    reader = SqliteHistory(tmp_path / "history").reader(SITE)
    yield reader
    reader.close()


def test_sent_and_loaded_rows_stand_in_order_of_time_sent_ones_first(rows: SqliteReader) -> None:
    found = interval_columns(rows, "A1", EVER)
    minutes = (found.start_us - START_US) // MINUTE_US
    assert minutes.tolist() == [0, 1, 2, 2, 3, 4, 10, 11, 20]
    assert found.rms_na is not None and found.charge_nc is not None
    assert found.rms_na[3] == 9_000_000 and np.isnan(found.rms_na[5])
    assert found.charge_nc.tolist()[-3:] == [750_000_000, 2_000_000_000, 0]
    assert found.charge_nc[1] == sum(interval(1).charge_nc)


def test_doubt_of_flags_and_of_a_dead_line_reaches_the_trends(rows: SqliteReader) -> None:
    found = interval_columns(rows, "A1", EVER, dead=dead_spans(rows))
    assert found.doubted is not None and found.state is not None
    assert found.doubted.tolist() == [False] * 5 + [True, False, True, True]
    wet, dry = STATES.index(State.WET), STATES.index(State.DRY)
    unknown = STATES.index(State.UNKNOWN)
    assert found.state.tolist() == [wet, wet, wet, -1, wet, unknown, dry, -1, -1]


def test_columns_that_nobody_measured_are_none(rows: SqliteReader, tmp_path: Path) -> None:
    csv = csv_file(tmp_path, "b.csv", "insulator,start,seconds,peak_ma", f"B1,{DAY}T00:00:00Z,60,2")
    load(tmp_path, csv)
    found = interval_columns(rows, "B1", EVER, EVERY_SUM)
    absent = ("rms_na", "charge_nc", "energy_uj", "state", "state_us", "halfcycles", "doubted")
    assert all(getattr(found, name) is None for name in absent)
    assert found.peak_ua is not None and found.peak_ua.tolist() == [2000.0]


def test_insulators_of_both_ways_are_known_and_a_stranger_is_not(rows: SqliteReader) -> None:
    known = InsulatorRows(rows, EVER)
    assert list(known) == ["A1"] and len(known) == 1 and "B9" not in known
    with pytest.raises(KeyError):
        known["B9"]


def test_a_span_takes_the_rows_that_start_in_it(rows: SqliteReader) -> None:
    span = Period(START_US + MINUTE_US, START_US + 10 * MINUTE_US)
    assert interval_columns(rows, "A1", span).start_us.size == 5
    assert extent_us(rows, Columns.INTERVAL) == (START_US, START_US + 21 * MINUTE_US)
    assert extent_us(rows, Columns.WEATHER) is None and weather_columns(rows, EVER) is None


def test_weather_comes_back_in_its_units(tmp_path: Path, rows: SqliteReader) -> None:
    csv = csv_file(
        tmp_path,
        "w.csv",
        "start,seconds,rh_pct,air_c,wind_m_s",
        f"{DAY}T00:00:00Z,3600,87.25,-3.5,4.125",
        f"{DAY}T01:00:00Z,3600,,,",
        f"{DAY}T02:00:00Z,3600,,5,",
    )
    ran = load(tmp_path, csv)
    assert "2 added, 0 there already, 1 refused" in ran.printed
    found = weather_columns(rows, EVER)
    assert found is not None and found.air_c is not None and found.wind_m_s is not None
    assert found.rh_pct[0] == 87.25 and np.isnan(found.rh_pct[1])
    assert found.air_c.tolist() == [-3.5, 5.0] and found.wind_m_s[0] == 4.125
    assert found.rain_mm is None


DAY_0 = 20_000 * DAY_US


@pytest.mark.parametrize(
    ("days", "expected"),
    [
        (10, (0, 5, 10)),
        (365, (0, 182, 365)),
        (730, (0, 365, 730)),
        (1200, (0, 365, 1200)),
        (2, (0, 1, 2)),
    ],
)
def test_reference_is_the_first_year_of_two_or_the_first_half(
    days: int, expected: tuple[int, int, int]
) -> None:
    extent = DAY_0 + 7, DAY_0 + days * DAY_US - 7
    reference, now = compared_periods(extent, None, None)
    marks = reference.from_us, reference.to_us, now.to_us
    assert tuple((mark - DAY_0) // DAY_US for mark in marks) == expected
    assert now.from_us == reference.to_us


def test_a_period_that_is_given_leaves_the_other_what_is_beside_it() -> None:
    extent = DAY_0, DAY_0 + 100 * DAY_US
    given = Period(DAY_0 + 60 * DAY_US, DAY_0 + 80 * DAY_US)
    assert compared_periods(extent, None, given)[0] == Period(DAY_0, given.from_us)
    assert compared_periods(extent, given, None)[1] == Period(given.to_us, extent[1])
    with pytest.raises(Refused, match="no rows before --now"):
        compared_periods(extent, None, Period(0, 5))


@pytest.mark.parametrize("hours", [1, 5, 30])
def test_a_history_of_hours_is_still_cut_in_two(hours: int) -> None:
    reference, now = compared_periods((DAY_0 + 9, DAY_0 + hours * 3_600_000_000), None, None)
    assert reference.from_us < reference.to_us == now.from_us < now.to_us


@pytest.mark.parametrize(
    "text",
    [
        "2025-01-01",
        "2025-01-01,2025-02-01,2025-03-01",
        "1,2",
        "2025-01-01T00:00:00+02:00,2025-02-01",
        "2025-01-01T00:00,2026-01-01",
    ],
)
def test_a_period_in_another_form_or_zone_is_refused(text: str) -> None:
    with pytest.raises(Refused, match="must be FROM,TO in UTC"):
        asked_period("--now", text)


def test_absent_is_outside_every_quantity() -> None:
    assert ABSENT < -((1 << 63) - 1)
