"""The glossary: whole numbers inside, exact decimals outside, one line for what is out of range."""

from __future__ import annotations

import re
from dataclasses import fields
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from edge.quantities import (
    BY_COLUMN,
    BY_NAME,
    INT64_MAX,
    QUANTITIES,
    Flag,
    Quantity,
    column_text,
    from_column,
)
from edge.records import IntervalRow, WeatherRow

PEAK = BY_NAME["peak_ua"]
MEAN = BY_NAME["mean_na"]

UNIT_ENDING = re.compile(r"_(us|millihz|mv|ua|na|ppm|cdegc?|nc|pa2s|uj|cpct|um|mm_s|mw_m2)$")


def test_names_and_columns_of_the_glossary_are_each_used_once() -> None:
    assert len(BY_NAME) == len(BY_COLUMN) == len(QUANTITIES)


@pytest.mark.parametrize("quantity", QUANTITIES, ids=lambda q: q.name)
def test_a_quantity_stays_within_what_a_database_can_hold(quantity: Quantity) -> None:
    assert -INT64_MAX <= quantity.low < quantity.high <= INT64_MAX
    assert quantity.meaning
    assert 0 <= quantity.decimals <= 12


@pytest.mark.parametrize(
    ("units", "text"),
    [(0, "0.000"), (1, "0.001"), (1_000, "1.000"), (123_456, "123.456"), (None, "")],
)
def test_a_column_shows_every_place_of_its_resolution(units: int | None, text: str) -> None:
    assert column_text(PEAK, units) == text


def test_a_small_negative_number_keeps_its_sign() -> None:
    assert column_text(MEAN, -1) == "-0.000001"
    assert column_text(MEAN, -12_345_678) == "-12.345678"


@given(st.sampled_from(QUANTITIES), st.data())
def test_what_a_column_shows_is_read_back_as_the_same_number(
    quantity: Quantity, draws: st.DataObject
) -> None:
    units = draws.draw(st.integers(quantity.low, quantity.high))
    text = column_text(quantity, units)
    assert from_column(quantity, text) == units
    assert Decimal(text).scaleb(quantity.decimals) == units


@pytest.mark.parametrize(("text", "units"), [("0.0005", 0), ("0.0015", 2), (" 2.5 ", 2_500)])
def test_a_number_finer_than_the_resolution_is_rounded_half_to_even(text: str, units: int) -> None:
    assert from_column(PEAK, text) == units


@pytest.mark.parametrize(
    "text", ["", "abc", "nan", "NaN", "inf", "-inf", "1,5", "0x10", "1e999999"]
)
def test_what_is_no_finite_number_is_refused_with_the_column_and_what_was_found(text: str) -> None:
    with pytest.raises(ValueError, match="peak_ma") as fault:
        from_column(PEAK, text)
    assert text in str(fault.value)


@pytest.mark.parametrize("text", ["-0.001", "10000000.001"])
def test_a_number_out_of_range_is_refused_with_both_ends(text: str) -> None:
    with pytest.raises(
        ValueError, match=r"peak_ma is .* must lie between 0\.000 and 10000000\.000"
    ):
        from_column(PEAK, text)


@pytest.mark.parametrize("quantity", QUANTITIES, ids=lambda q: q.name)
def test_units_end_the_names_of_records(quantity: Quantity) -> None:
    counts = quantity.unit == "" and quantity.decimals == 0
    assert counts or UNIT_ENDING.search(quantity.name)


def test_every_measured_number_of_an_interval_row_is_in_the_glossary() -> None:
    """Besides names, places in time and lists of what the glossary lists one by one."""
    apart = {
        "kind", "span", "insulator", "start_counter", "start_us", "windows", "state", "state_us",
        "pulses", "arc_pulses", "live_us", "first_arc_us", "last_arc_us", "silent_from_us",
        "calibration", "flags",
    }  # fmt: skip
    named = {f.name for f in fields(IntervalRow)} - apart
    assert named <= BY_NAME.keys()


def test_every_reading_of_a_weather_row_is_in_the_glossary() -> None:
    named = {f.name for f in fields(WeatherRow)} - {"kind", "start_us", "flags"}
    assert named <= BY_NAME.keys()


def test_flags_are_words_that_can_be_joined_by_a_bar() -> None:
    assert all(re.fullmatch(r"[a-z]+(-[a-z]+)*", flag.value) for flag in Flag)
