"""When a health record is due, what it says, and which letter it bears."""

from __future__ import annotations

from dataclasses import replace

import pytest

from edge.daemon.diagnostics import MEANINGS, WORST_FIRST, Diagnostic, Signs, found, letter_of
from edge.daemon.heartbeat import (
    MINUTE_US,
    READING_STALE_US,
    Heart,
    Standing,
    beat,
    begun,
    counted_in,
    heard,
    rows_until_due,
)
from edge.records import Letter, LineStatus

TEN_US = 29_925_970 * MINUTE_US
STANDING = Standing(
    clock_source="gnss",
    clock_synchronised=True,
    clock_error_us=3,
    storage_free_ppm=900_000,
    backlog=4,
    uplink_away=False,
    is_live=True,
    has_line_input=True,
    counters={"samples_lost": 7, "frames": 100},
    settings_sha="abc",
)
GOOD = Signs(
    alive=True,
    is_live=True,
    clock_synchronised=True,
    storage_free_ppm=900_000,
    backlog=0,
    uplink_away=False,
    counted={},
)


def test_the_first_record_ends_with_the_minute_in_which_the_signal_began() -> None:
    heart = begun(Heart(), TEN_US + 20_000_000)
    assert rows_until_due(heart, TEN_US + 20_000_000, 4_800) == 40 * 4_800
    heart, row = beat(counted_in(heart, 5), heart.end_us, heart.end_us, STANDING)
    assert (row.start_us, row.duration_us, row.samples) == (TEN_US + 20_000_000, 40_000_000, 5)
    assert (heart.start_us, heart.samples) == (TEN_US + MINUTE_US, 0)


def test_minutes_that_a_gap_swallowed_get_no_record() -> None:
    heart = begun(Heart(), TEN_US)
    heart, row = beat(heart, heart.end_us, TEN_US + 5 * MINUTE_US + 9, STANDING)
    assert row.duration_us == MINUTE_US and heart.start_us == TEN_US + 5 * MINUTE_US


def test_a_clock_stepped_back_begins_a_new_minute_and_flags_it() -> None:
    heart = begun(begun(Heart(), TEN_US), TEN_US - 10 * MINUTE_US)
    assert heart.start_us == TEN_US - 10 * MINUTE_US
    _, row = beat(heart, heart.end_us, heart.end_us, STANDING)
    assert row.flags == ("clock-step",)
    assert begun(begun(Heart(), TEN_US), TEN_US - 1).start_us == TEN_US


def test_a_minute_without_samples_is_a_failure_with_its_reason() -> None:
    heart = replace(begun(Heart(), TEN_US), counters=STANDING.counters)
    _, row = beat(heart, heart.end_us, heart.end_us, STANDING)
    assert not row.source_alive and row.letter is Letter.FAILURE
    assert row.reasons == ("source-silent",)


def test_counters_are_told_as_they_stand_and_judged_by_their_growth() -> None:
    heart = counted_in(begun(Heart(), TEN_US), 9)
    heart, row = beat(heart, heart.end_us, heart.end_us, STANDING)
    assert row.reasons == ("samples-lost",) and row.link_counters["samples_lost"] == 7
    _, row = beat(counted_in(heart, 9), heart.end_us, heart.end_us, STANDING)
    assert row.reasons == () and row.letter is Letter.GOOD


@pytest.mark.parametrize(
    ("code", "status"),
    [
        (0, LineStatus.UNKNOWN),
        (1, LineStatus.IN_SERVICE),
        (2, LineStatus.OUT_OF_SERVICE),
        (9, LineStatus.UNKNOWN),
    ],
)
def test_readings_of_the_unit_go_into_its_record_until_they_are_stale(
    code: int, status: LineStatus
) -> None:
    readings = {"line_status": code, "supply_mv": 12_900, "enclosure_cdegc": -400, "rh_cpct": 9}
    heart = heard(begun(Heart(), TEN_US), readings, TEN_US)
    heart, row = beat(heart, heart.end_us, heart.end_us, STANDING)
    assert (row.line_status, row.supply_mv, row.enclosure_cdegc) == (status, 12_900, -400)
    heart = replace(heart, start_us=TEN_US + READING_STALE_US)
    _, row = beat(heart, heart.end_us, heart.end_us, STANDING)
    assert (row.line_status, row.supply_mv) == (LineStatus.UNKNOWN, None)


def test_without_a_line_input_its_reading_is_not_believed() -> None:
    heart = heard(begun(Heart(), TEN_US), {"line_status": 2}, TEN_US)
    _, row = beat(heart, heart.end_us, heart.end_us, replace(STANDING, has_line_input=False))
    assert row.line_status is LineStatus.UNKNOWN


def test_a_reading_out_of_its_range_is_left_out() -> None:
    heart = heard(begun(Heart(), TEN_US), {"supply_mv": -5}, TEN_US)
    assert beat(heart, heart.end_us, heart.end_us, STANDING)[1].supply_mv is None


SIGNS = {
    Diagnostic.SOURCE_SILENT: replace(GOOD, alive=False),
    Diagnostic.SENSOR_FAULT: replace(GOOD, counted={"sensor_fault_frames": 1}),
    Diagnostic.SIMULATED: replace(GOOD, is_live=False),
    Diagnostic.COMMISSIONING: replace(GOOD, is_commissioned=False),
    Diagnostic.SAMPLES_LOST: replace(GOOD, counted={"buffer_overrun_frames": 2}),
    Diagnostic.SENSOR_RESTARTED: replace(GOOD, counted={"restarts": 1}),
    Diagnostic.SUPPLY_DIP: replace(GOOD, counted={"supply_dip_frames": 1}),
    Diagnostic.ENCLOSURE: replace(GOOD, enclosure_cdegc=7_001),
    Diagnostic.CLOCK: replace(GOOD, clock_synchronised=False),
    Diagnostic.STORAGE_LOW: replace(GOOD, storage_free_ppm=99_999),
    Diagnostic.UPLINK_AWAY: replace(GOOD, uplink_away=True, backlog=1_001),
    Diagnostic.LINE_NOISY: replace(GOOD, counted={"refused_crc": 4, "refused_length": 3}),
    Diagnostic.CERTIFICATE_MONTH: replace(GOOD, certificate_days=30),
    Diagnostic.CERTIFICATE_WEEK: replace(GOOD, certificate_days=7),
    Diagnostic.CERTIFICATE_DAY: replace(GOOD, certificate_days=-3),
    Diagnostic.CERTIFICATE_UNREADABLE: replace(GOOD, certificate_unreadable=True),
    Diagnostic.WEATHER_SILENT: replace(GOOD, counted={"weather_asked": 6, "weather_failed": 6}),
}


@pytest.mark.parametrize("diagnostic", list(Diagnostic))
def test_every_diagnostic_has_its_sign_its_letter_and_what_to_do(diagnostic: Diagnostic) -> None:
    said = found(SIGNS[diagnostic])
    assert said == (diagnostic,) and found(GOOD) == ()
    assert letter_of(said) is MEANINGS[diagnostic].letter is not Letter.GOOD
    assert MEANINGS[diagnostic].action


def test_the_worst_letter_names_a_unit_with_several_diagnostics() -> None:
    assert set(WORST_FIRST) == set(Letter) and letter_of(()) is Letter.GOOD
    both = (Diagnostic.CLOCK, Diagnostic.SOURCE_SILENT)
    assert letter_of(both) is Letter.FAILURE
