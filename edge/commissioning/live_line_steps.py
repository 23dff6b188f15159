"""Steps on the energised line in dry hours, done from the ground and the sensor's earthed side."""

from __future__ import annotations

import cmath
from math import radians

from edge.calibrating import objection_to, phasor_of, proposal
from edge.commissioning import limits
from edge.commissioning.outcome import Outcome, Reading, failed
from edge.commissioning.visit import Visit, mean_ma
from edge.measure.plan import Calibration
from edge.measure.windows import ABSENT
from edge.settings import measure_plan

DRY_LOOK_S = 8.0
"""Signal of the dry current: forty windows, enough for its spread."""

BACK_S = 2.0


def polarity(visit: Visit) -> Outcome:
    """The dry current leads its own phase's voltage."""
    table, _ = visit.look()
    if not (table.in_phase_na != ABSENT).any():
        return failed(
            "there is no voltage to compare with: name voltage_channel, or show polarity "
            "and phase on the bench and note it in the utility's own record"
        )
    low, high = limits.LEADING_DEG
    lead = Reading(
        name="current leads the voltage by",
        figure=phasor_of(table).dry_deg,
        unit="deg",
        low=low,
        high=high,
    )
    return Outcome(readings=(lead,), note="" if lead.holds else _turned(lead.figure))


def _turned(lead_deg: float) -> str:
    if -125 <= lead_deg <= -55:
        return (
            "the sensor is turned: swap its leads (ring earthed first), or make its gain negative"
        )
    if abs(lead_deg) < 55:
        return "a resistive current flows: the surface is wet; come back in dry hours"
    return (
        "it hangs from another phase than the settings say, or the voltage's phase is named wrong"
    )


def dry_phasor(visit: Visit) -> Outcome:
    """As calibrated, and steady; where none is calibrated, one is proposed."""
    table, seen = visit.look(DRY_LOOK_S)
    if objection := objection_to(table, seen.readings):
        return failed(f"{objection}: come back in dry hours")
    found, before = phasor_of(table), _calibration(visit)
    if before.dry_ma is None or before.dry_deg is None:
        entry = proposal(visit.place.insulator, found, before, seen)
        return failed(
            f"no dry current is calibrated; add this to the settings and repeat:\n{entry}"
        )
    now = cmath.rect(found.dry_ma, radians(found.dry_deg))
    then = cmath.rect(before.dry_ma, radians(before.dry_deg))
    return Outcome(
        readings=(
            Reading(name="dry current, r.m.s.", figure=found.dry_ma, unit="mA"),
            Reading(name="it leads by", figure=found.dry_deg, unit="deg"),
            Reading(
                name="distance from the calibrated one, share of it",
                figure=abs(now - then) / before.dry_ma,
                high=limits.DRY_OFF_RATIO_MAX,
            ),
        )
    )


def _calibration(visit: Visit) -> Calibration:
    plan = measure_plan(visit.bench.settings, visit.bench.listener().source.description)
    own = next(one for one in plan.insulators if one.id == visit.place.insulator)
    return own.calibration_at(visit.bench.clock.utc_us())


def lead_off(visit: Visit) -> Outcome:
    """An open lead is seen as a current that is gone, and the current is back with the lead."""
    before_ma = mean_ma(visit.look()[0], "h1_na")
    if not before_ma > 0:
        return failed("no current is shown with the lead on: look after sensor and line")
    visit.act("Earth the ring at its test point; only then take the collector lead off.")
    if visit.bench.awaited(lambda: _ratio(visit, before_ma) < limits.LEAD_OFF_SHARE_MAX) is None:
        return failed("the current stayed: what is measured does not come through this lead")
    off = _ratio(visit, before_ma)
    visit.act("Put the lead back; only then take the earth off the ring.")
    low, high = limits.BACK_RATIO
    visit.bench.awaited(lambda: _ratio(visit, before_ma) >= low)
    back = _ratio(visit, before_ma)
    return Outcome(
        readings=(
            Reading(
                name="current without the lead to before",
                figure=off,
                high=limits.LEAD_OFF_SHARE_MAX,
            ),
            Reading(name="current after to before", figure=back, low=low, high=high),
        )
    )


def _ratio(visit: Visit, before_ma: float) -> float:
    return mean_ma(visit.look(BACK_S)[0], "h1_na") / before_ma
