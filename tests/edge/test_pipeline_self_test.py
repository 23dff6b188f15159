"""The pipeline tests sensors on the very rows that it decides on and gives out."""

from __future__ import annotations

from dataclasses import replace

from edge import pipeline
from edge.decide.alarm_table import DEFAULT_ALARMS
from edge.decide.binding import WatchedInsulator, bind
from edge.measure.plan import Calibration, plan_from_description
from edge.pipeline import PipelineState
from edge.quantities import Flag
from edge.records import Condition, ConditionChange, IntervalRow
from tests.edge.decide.builders import interval, weather
from tests.edge.measure.builders import describe

DRY = Calibration(id="c", dry_ma=0.1, dry_deg=90.0)
DAY_MINUTES = 1_440


def unit() -> PipelineState:
    """One insulator with a calibrated dry current."""
    description = describe()
    plan = plan_from_description(description)
    own = replace(plan.insulators[0], calibrations=(DRY,))
    plan = replace(plan, insulators=(own,), nominal_kv=17.0)
    decision = bind(DEFAULT_ALARMS, [WatchedInsulator("I1")], "sha", description.rate_hz)
    return pipeline.initial(plan, decision, description)


def minute(number: int, quadrature_na: int, in_phase_na: int = 0) -> IntervalRow:
    return interval(
        60.0 * number,
        insulator="I1",
        calibration="c",
        in_phase_na=in_phase_na,
        quadrature_na=quadrature_na,
        voltage_mv=17_000_000,
    )


def changes_of(
    quadrature_na: int, in_phase_na: int = 0, rh_cpct: int | None = None
) -> list[ConditionChange]:
    """What a day of such minutes decides; with weather where a humidity is given."""
    state, found = unit(), []
    for number in range(DAY_MINUTES):
        rows = [minute(number, quadrature_na, in_phase_na)]
        air = [] if rh_cpct is None else [weather(60.0 * number, rh_cpct)]
        state, outputs = pipeline.decided(state, (*air, *rows), ())
        found += [one for one in outputs.records if isinstance(one, ConditionChange)]
    return found


def test_a_bypassed_collector_becomes_a_failed_sensor_within_a_day() -> None:
    (change,) = changes_of(70_000)
    assert (change.alarm, change.condition) == ("sensor-failed", Condition.IN)
    assert "bypass" in change.reason and Flag.DRY_CURRENT_OFF.value in change.flags
    hours = (change.at_us - interval(0).start_us) / 3.6e9
    assert 12.0 <= hours <= 12.5


def test_a_sensor_as_calibrated_decides_nothing() -> None:
    assert changes_of(104_000) == []


def test_a_lean_to_conduction_is_a_fault_only_in_air_that_is_known_dry() -> None:
    assert changes_of(97_000, 26_000) == []
    assert changes_of(97_000, 26_000, rh_cpct=8_000) == []
    (change,) = changes_of(97_000, 26_000, rh_cpct=4_000)
    assert change.alarm == "sensor-failed"
