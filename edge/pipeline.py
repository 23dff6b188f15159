"""The two pure steps put together: what the daemon and the replay loop around.

    for item in source: state, outputs = step(state, item)

Rows come out in the order in which they end, each followed by what it decided and by the waveforms
that are kept of it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from edge.captures import choosing
from edge.captures.choosing import Choosing
from edge.decide import evaluation
from edge.decide.binding import DecisionPlan
from edge.decide.rules import WEATHER_STALE_US
from edge.decide.state import DecideState
from edge.decide.state import initial as initial_decision
from edge.measure import self_test, stepping
from edge.measure.plan import UNCALIBRATED, Calibration, MeasurePlan
from edge.measure.raw_rows import CapturedWaveform
from edge.measure.self_test import Air, SelfTest
from edge.measure.stepping import MeasureState, utc_us_of
from edge.measure.windows import WindowTable
from edge.quantities import BY_NAME, Flag
from edge.records import (
    Capture,
    CapturePart,
    ConditionChange,
    HealthRow,
    IntervalRow,
    Span,
    WeatherRow,
)
from edge.samples import SignalDescription, SlowReading, SourceItem

WEATHER_NAMES = (
    "rh_cpct",
    "air_cdegc",
    "dew_point_cdegc",
    "rain_um",
    "wind_mm_s",
    "wind_from_cdeg",
    "uv_mw_m2",
)
"""Readings that make a weather row; others are the unit's own and go into its health row."""

WEATHER_US = 60_000_000
"""A weather row stands for a minute; further readings within it are not kept."""

Decided = IntervalRow | WeatherRow | HealthRow
Output = Decided | ConditionChange | Capture | CapturePart


@dataclass(frozen=True, slots=True, eq=False)
class PipelineState:
    """State of both steps. weather_us: start of the newest weather row, -1 before any.

    choosing: what was kept of waveforms. self_tests: of the sensors, by insulator.
    """

    measure: MeasureState
    decide: DecideState
    plan: DecisionPlan
    weather_us: int = -1
    choosing: Choosing = field(default_factory=dict)
    self_tests: Mapping[str, SelfTest] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, eq=False)
class Outputs:
    """Records in order, and the windows of each insulator for those who want every window."""

    records: tuple[Output, ...] = ()
    windows: tuple[tuple[str, WindowTable], ...] = ()


def initial(
    measure_plan: MeasurePlan,
    decision_plan: DecisionPlan,
    description: SignalDescription,
    decide: DecideState | None = None,
) -> PipelineState:
    """The state before the first sample; `decide`: resumed from the durable file."""
    return PipelineState(
        measure=stepping.initial(measure_plan, description),
        decide=initial_decision(decision_plan) if decide is None else decide,
        plan=decision_plan,
    )


def step(state: PipelineState, item: SourceItem | HealthRow) -> tuple[PipelineState, Outputs]:
    """Takes in what the source delivered, or the shell's health row."""
    if isinstance(item, HealthRow):
        return decided(state, (item,), ())
    if isinstance(item, SlowReading):
        return _slow(state, item)
    measure, found = stepping.step(state.measure, item)
    return decided(replace(state, measure=measure), found.rows, found.windows, found.captured)


def decided(
    state: PipelineState,
    rows: tuple[Decided, ...],
    windows: tuple[tuple[str, WindowTable], ...],
    captured: tuple[CapturedWaveform, ...] = (),
) -> tuple[PipelineState, Outputs]:
    """Tests sensors and decides on rows in their order; each comes out before what it decided.

    captured: candidates of these rows; others are passed over.
    """
    records: list[Output] = []
    decide, chosen, tests = state.decide, state.choosing, dict(state.self_tests)
    for row in sorted(rows, key=evaluation.decision_order):
        if isinstance(row, IntervalRow):
            row = _tested(state.measure.plan, decide, tests, row)
        decide, changes = evaluation.step(decide, row, state.plan)
        records += [row, *changes]
        if isinstance(row, IntervalRow) and row.span is Span.MINUTE:
            own = [one for one in captured if _belongs(one, row)]
            chosen, kept = choosing.step(chosen, row, own, state.plan.settings_sha)
            records += kept
    state = replace(state, decide=decide, choosing=chosen, self_tests=tests)
    return state, Outputs(tuple(records), windows)


def _tested(
    plan: MeasurePlan, decide: DecideState, tests: dict[str, SelfTest], row: IntervalRow
) -> IntervalRow:
    """The row with what its sensor's self-test says, which has taken it in."""
    if not row.calibration:
        return row
    known = tests.get(row.insulator, self_test.FRESH)
    calibration, air = _calibration(plan, row), _air(decide, row)
    renewed, row = self_test.step(known, row, calibration, plan.nominal_kv, air)
    if renewed is not known:
        tests[row.insulator] = renewed
    return row


def _calibration(plan: MeasurePlan, row: IntervalRow) -> Calibration:
    own = next((one for one in plan.insulators if one.id == row.insulator), None)
    dated = () if own is None else own.calibrations
    return next((one for one in dated if one.id == row.calibration), UNCALIBRATED)


def _air(decide: DecideState, row: IntervalRow) -> Air:
    air = decide.air
    if not air.end_us or row.start_us + row.duration_us - air.end_us > WEATHER_STALE_US:
        return Air.UNKNOWN
    return Air.DRY if air.is_dry else Air.DAMP


def _belongs(captured: CapturedWaveform, row: IntervalRow) -> bool:
    return captured.insulator == row.insulator and captured.row_counter == row.start_counter


def _slow(state: PipelineState, reading: SlowReading) -> tuple[PipelineState, Outputs]:
    known = {name: reading.readings[name] for name in WEATHER_NAMES if name in reading.readings}
    start_us = utc_us_of(state.measure, reading.counter) // WEATHER_US * WEATHER_US
    if not known or start_us <= state.weather_us:
        return state, Outputs()
    fits = {
        name: units
        for name, units in known.items()
        if BY_NAME[name].low <= units <= BY_NAME[name].high
    }
    flags = (Flag.IMPOSSIBLE_WEATHER.value,) if len(fits) < len(known) else ()
    row = WeatherRow(
        start_us=start_us,
        duration_us=WEATHER_US,
        rh_cpct=fits.get("rh_cpct"),
        air_cdegc=fits.get("air_cdegc"),
        dew_point_cdegc=fits.get("dew_point_cdegc"),
        rain_um=fits.get("rain_um"),
        wind_mm_s=fits.get("wind_mm_s"),
        wind_from_cdeg=fits.get("wind_from_cdeg"),
        uv_mw_m2=fits.get("uv_mw_m2"),
        flags=flags,
    )
    return decided(replace(state, weather_us=start_us), (row,), ())
