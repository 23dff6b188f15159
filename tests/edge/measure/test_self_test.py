"""The dry current as self-test: faults found within a day of dry hours, healthy sensors let be."""

from __future__ import annotations

import cmath
import json
from dataclasses import replace
from math import radians

import pytest

from edge.measure import self_test
from edge.measure.plan import UNCALIBRATED, Calibration
from edge.measure.self_test import FRESH, Air, SelfTest
from edge.quantities import STATES, Flag, State
from edge.records import IntervalRow, Span
from tests.edge.decide.builders import interval
from tests.edge.measure.dry_world import (
    NOMINAL_KV,
    Watched,
    faulty,
    part,
    watched,
    world,
)

DAY = 1440
OFF = Flag.DRY_CURRENT_OFF.value
DRY_HOURS_MAX = 24.0

FAULTS = {
    "bypass of 30 %": (0.7, 0.0),
    "open lead that picks up a quarter": (0.0, 0.25 * cmath.exp(1j * radians(50))),
    "gain 25 % up": (1.25, 0.0),
    "gain 20 % down": (0.8, 0.0),
    "phase 15 degrees towards the capacitance": (cmath.exp(1j * radians(15)), 0.0),
    "phase 15 degrees towards conduction": (cmath.exp(-1j * radians(15)), 0.0),
}


def after_fault(seed: int, name: str, *, weather: bool = True) -> Watched:
    """After ten healthy days in spring, until it is found or fifty days are over."""
    factor, picked_up = FAULTS[name]
    healthy = world(seed, 190 * DAY)
    before = watched(part(healthy, 130 * DAY, 140 * DAY), weather=weather)
    assert not before.findings
    late = faulty(part(healthy, 140 * DAY, 190 * DAY), factor, picked_up)
    return watched(late, weather=weather, known=before.known, stop=True)


@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_is_found_within_24_dry_hours(name: str) -> None:
    for seed in (1, 2):
        found = after_fault(seed, name)
        assert found.findings == 1
        hours = found.air_hours if "conduction" in name else found.dry_hours
        assert hours <= DRY_HOURS_MAX


def test_without_weather_size_and_phase_towards_the_capacitance_are_found_too() -> None:
    for name in ("bypass of 30 %", "phase 15 degrees towards the capacitance"):
        found = after_fault(3, name, weather=False)
        assert found.findings == 1 and found.dry_hours <= DRY_HOURS_MAX


def test_without_weather_a_lean_to_conduction_is_taken_for_a_film() -> None:
    found = after_fault(3, "phase 15 degrees towards conduction", weather=False)
    assert found.findings == 0 and found.dry_hours > 100


@pytest.mark.parametrize("weather", [True, False])
def test_healthy_sensors_raise_no_finding(weather: bool) -> None:
    """A winter and a summer; the long form below has forty years."""
    for seed, begin in ((21, 0), (22, 150)):
        stretch = part(world(seed, 200 * DAY), begin * DAY, (begin + 45) * DAY)
        seen = watched(stretch, weather=weather)
        assert seen.findings == 0 and seen.dry_hours > 300


def test_a_careless_limit_would_find_faults_in_healthy_sensors(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The twin that shows what the simulated weather can do."""
    monkeypatch.setattr(self_test, "OFF_PPM", 25_000)
    monkeypatch.setattr(self_test, "OFF_END_PPM", 20_000)
    assert watched(world(21, 250 * DAY), stop=True).findings > 0


@pytest.mark.long
@pytest.mark.timeout(3_600)
def test_forty_sensor_years_raise_no_finding() -> None:
    """None in 40 years is less than one in 13 with 95 % confidence (rule of three)."""
    findings = {seed: watched(world(seed), weather=bool(seed % 2)).findings for seed in range(40)}
    assert sum(findings.values()) == 0, findings


@pytest.mark.long
@pytest.mark.timeout(3_600)
@pytest.mark.parametrize("name", FAULTS)
def test_faults_of_twenty_sensors_are_found_within_24_dry_hours(name: str) -> None:
    for seed in range(100, 120):
        found = after_fault(seed, name)
        hours = found.air_hours if "conduction" in name else found.dry_hours
        assert found.findings == 1 and hours <= DRY_HOURS_MAX, seed


CALIBRATION = Calibration(id="c", dry_ma=0.1, dry_deg=90.0)


def minute(**said: object) -> IntervalRow:
    """A dry minute of the calibrated sensor at nominal voltage."""
    usual = {
        "calibration": "c",
        "in_phase_na": 0,
        "quadrature_na": 100_000,
        "h1_na": 100_000,
        "voltage_mv": round(NOMINAL_KV * 1e6),
    }
    return interval(0, **(usual | said))


def told(
    row: IntervalRow,
    hours: int = 30,
    known: SelfTest = FRESH,
    air: Air = Air.UNKNOWN,
    nominal_kv: float | None = NOMINAL_KV,
) -> tuple[SelfTest, IntervalRow]:
    """One minute over and over."""
    last = row
    for _ in range(hours * 60):
        known, last = self_test.step(known, row, CALIBRATION, nominal_kv, air)
    return known, last


def test_a_finding_flags_minute_rows_of_every_state_and_no_others() -> None:
    known, last = told(minute(quadrature_na=70_000))
    assert last.flags == (OFF,)
    _, arcing = told(minute(state=State.ARCING_DENSE, state_us=cover(State.ARCING_DENSE)), 1, known)
    assert arcing.flags == (OFF,)
    _, tens = self_test.step(
        known, replace(minute(), span=Span.TEN_SECONDS), CALIBRATION, NOMINAL_KV, Air.DRY
    )
    assert tens.flags == ()


def cover(state: State) -> tuple[int, ...]:
    return tuple(60_000_000 if each is state else 0 for each in STATES)


@pytest.mark.parametrize(
    "row",
    [
        minute(quadrature_na=60_000, flags=(Flag.VOLTAGE_ABNORMAL.value,)),
        minute(quadrature_na=0, state=State.DE_ENERGISED, state_us=cover(State.DE_ENERGISED)),
        minute(quadrature_na=0, state=State.UNKNOWN, flags=(Flag.SENSOR_FAULT.value,)),
        minute(quadrature_na=60_000, flags=(Flag.REFERENCE_DOUBTFUL.value,)),
        minute(quadrature_na=60_000, state=State.WET, state_us=cover(State.WET)),
        minute(quadrature_na=60_000, arcing_halfcycles=1, first_arc_us=0, last_arc_us=1),
    ],
    ids=["abnormal voltage", "dead line", "sensor fault", "doubtful voltage", "wet", "arcing"],
)
def test_rows_with_a_word_of_their_own_are_no_evidence(row: IntervalRow) -> None:
    known, last = told(row)
    assert known.all_dry.sizes == () and last.flags == row.flags


@pytest.mark.parametrize("share", [0.87, 1.13])
def test_a_voltage_within_the_band_of_service_moves_nothing(share: float) -> None:
    volts = round(NOMINAL_KV * share * 1e6)
    known, _ = told(minute(quadrature_na=round(100_000 * share), voltage_mv=volts))
    assert known.all_dry.sizes and abs(known.all_dry.sizes[-1] - 1_000_000) < 100


def test_without_a_nominal_voltage_the_first_one_seen_is_compared_at() -> None:
    known, _ = told(minute(), nominal_kv=None)
    swollen = minute(quadrature_na=140_000, voltage_mv=round(NOMINAL_KV * 1.4e6))
    known, last = told(swollen, known=known, nominal_kv=None)
    assert last.flags == ()


def test_without_a_voltage_only_too_small_a_current_is_found() -> None:
    bare = {"in_phase_na": None, "quadrature_na": None, "voltage_mv": None}
    assert told(minute(h1_na=70_000, **bare))[1].flags == (OFF,)
    assert told(minute(h1_na=190_000, **bare))[1].flags == ()


def test_a_finding_ends_by_dry_hours_that_agree_or_by_a_new_calibration() -> None:
    known, _ = told(minute(quadrature_na=70_000))
    mended, last = told(minute(), hours=8, known=known)
    assert not mended.is_off and last.flags == ()
    _, last = told(minute(quadrature_na=88_000), known=known)
    assert last.flags == (OFF,), "hysteresis: 12 % off would not begin it, and does not end it"
    anew, row = self_test.step(
        known, minute(calibration="d"), replace(CALIBRATION, id="d"), NOMINAL_KV, Air.DRY
    )
    assert not anew.is_off and row.flags == ()


def test_without_a_calibrated_dry_current_nothing_is_tested() -> None:
    for calibration in (UNCALIBRATED, replace(CALIBRATION, dry_ma=0.004)):
        known, _ = self_test.step(FRESH, minute(), calibration, NOMINAL_KV, Air.DRY)
        assert known == FRESH


def test_a_wide_calibrated_spread_widens_the_limit() -> None:
    wide = replace(CALIBRATION, dry_spread_ma=0.01)
    known = FRESH
    for _ in range(30 * 60):
        row = minute(quadrature_na=82_000)
        known, row = self_test.step(known, row, wide, NOMINAL_KV, Air.UNKNOWN)
    assert not known.is_off


def test_the_state_comes_back_from_json_as_it_was() -> None:
    state = {"I1": watched(world(5, 20 * DAY)).known, "I2": told(minute(quadrature_na=1))[0]}
    assert self_test.from_plain(json.loads(json.dumps(self_test.as_plain(state)))) == state
