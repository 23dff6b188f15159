"""Start, zone, clock quality and sampling rate, as each revision states them."""

from __future__ import annotations

from datetime import timedelta, timezone
from zoneinfo import ZoneInfo

import pytest

from edge.quantities import Flag
from edge.recording import feed, read_pair
from edge.recording.configuration import parse_header
from edge.recording.record import Record
from edge.samples import AnchorSource
from tests.edge.recording.builders import (
    RAMP,
    binary,
    configuration,
    configuration_1991,
    joined,
    text,
)

START_NS = 1_706_756_645_000_000_000  # 2024-02-01 03:04:05 UTC
TEXT_ROWS = [f"{n},{100 * (n - 1)},{n},{-n}" for n in range(1, 9)]


def samples_of(record: Record) -> list[list[float]]:
    return joined(list(feed([record], block_samples=3)))[1]


@pytest.mark.parametrize(
    ("code", "shift_s"),
    [("0", 0), ("+0", 0), ("-5h30", 19_800), ("+10h30", -37_800), ("1", -3_600), ("-4", 14_400)],
)
def test_the_time_code_is_taken_off(code: str, shift_s: int) -> None:
    header = parse_header(configuration(tail=("1", f"{code},x", "0,3")), name="a.cfg")
    assert header.start_utc_ns == START_NS + shift_s * 10**9
    assert not header.zone_assumed


def test_nanoseconds_of_the_start_are_kept() -> None:
    header = parse_header(configuration(start="01/02/2024,03:04:05.123456789"), name="a.cfg")
    assert header.start_utc_ns == START_NS + 123_456_789
    assert header.stamp_ns == 1.0


@pytest.mark.parametrize(
    ("code", "synchronised", "error_ns"),
    [
        ("0", True, 1_000),
        ("4", True, 1_000),
        ("5", True, 10_000),
        ("7", True, 1_000_000),
        ("8", False, 10_000_000),
        ("A", False, 10**9),
        ("b", False, 10**10),
        ("F", False, 86_400 * 10**9),
    ],
)
def test_time_quality_reaches_the_anchor(code: str, synchronised: bool, error_ns: int) -> None:
    cfg = configuration(tail=("1", "0,0", f"{code},0"))
    anchor = read_pair(cfg, binary(RAMP), name="a.cfg").anchor(7)
    assert (anchor.counter, anchor.utc_ns, anchor.source) == (7, START_NS, AnchorSource.RECORD)
    assert (anchor.synchronised, anchor.error_ns) == (synchronised, error_ns)


def test_a_record_before_2013_is_utc_and_flagged_unless_a_zone_is_given() -> None:
    cfg = configuration(first="Fogbank,FB-1,1999", tail=("1",))
    assumed = read_pair(cfg, binary(RAMP), name="a.cfg")
    assert assumed.header.start_utc_ns == START_NS
    assert assumed.flags == (Flag.TIME_ZONE_ASSUMED,)
    fixed = read_pair(cfg, binary(RAMP), name="a.cfg", zone=timezone(timedelta(hours=2)))
    assert fixed.header.start_utc_ns == START_NS - 7_200 * 10**9
    assert fixed.flags == ()
    summer = cfg.replace(b"01/02/2024", b"01/07/2024")
    zoned = parse_header(summer, name="a.cfg", zone=ZoneInfo("Europe/Lisbon"))
    assert zoned.start_utc_ns == parse_header(summer, name="a").start_utc_ns - 3_600 * 10**9


def test_1991_puts_the_month_first_and_is_assumed_primary() -> None:
    record = read_pair(configuration_1991(), text(TEXT_ROWS), name="a.cfg")
    assert record.header.start_utc_ns == 760_071_845_000_000_000  # 1994-02-01 03:04:05 UTC
    assert record.flags == (Flag.TIME_ZONE_ASSUMED, Flag.UNIT_ASSUMED)
    young = configuration_1991().replace(b"/94", b"/04")
    assert parse_header(young, name="a").start_utc_ns == 1_075_604_645_000_000_000
    full = configuration_1991().replace(b"/94", b"/1994")
    assert parse_header(full, name="a") == parse_header(configuration_1991(), name="a")


def test_a_2013_record_without_time_lines_is_read_with_a_warning() -> None:
    record = read_pair(configuration(tail=()), binary(RAMP), name="a.cfg")
    assert Flag.TIME_ZONE_ASSUMED in record.flags
    assert len(record.warnings) == 2


def test_equal_rates_are_one_rate() -> None:
    cfg = configuration(rates=("2", "10000,3", "10000,8"))
    assert read_pair(cfg, binary(RAMP), name="a.cfg").description.rate_hz == 10_000.0


@pytest.mark.parametrize("kind", ["ASCII", "BINARY"])
@pytest.mark.parametrize(("multiplier", "stamp"), [("1", 125), ("0.5", 250)])
def test_regular_time_stamps_stand_for_a_rate(kind: str, multiplier: str, stamp: int) -> None:
    cfg = configuration(rates=("0", "0,8"), kind=kind, tail=(multiplier, "0,0", "0,0"))
    stamps = [5_000 + stamp * n for n in range(8)]
    lines = [f"{n + 1},{stamps[n]},{n + 1},{-n - 1}" for n in range(8)]
    rows = text(lines) if kind == "ASCII" else binary(RAMP, stamps=stamps)
    record = read_pair(cfg, rows, name="a.cfg")
    assert record.description.rate_hz == 8_000.0
    assert samples_of(record) == RAMP


def test_a_measured_frequency_near_50_is_50_and_an_empty_one_can_be_given() -> None:
    record = read_pair(configuration(line_hz="49.97"), binary(RAMP), name="a.cfg")
    assert record.description.nominal_hz == 50.0
    empty = read_pair(configuration(line_hz=""), binary(RAMP), name="a.cfg", nominal_hz=60.0)
    assert empty.description.nominal_hz == 60.0
