"""Steps on a dead, earthed line: what the sensor makes of currents that are known."""

from __future__ import annotations

from math import sqrt

import numpy as np

from edge.commissioning import limits
from edge.commissioning.asking import Kind, Question
from edge.commissioning.outcome import Outcome, Reading, failed
from edge.commissioning.visit import Visit, full_scale_ma, mean_ma
from edge.measure.flags import flag_words
from edge.quantities import Flag

INJECTED = Question(
    "injected_ma", "r.m.s. current injected now, by the reference ammeter, mA", Kind.NUMBER, "12.5"
)


def identity(visit: Visit) -> Outcome:
    """What stands on the tower is what stands in the settings."""
    wanted, seen = visit.place.insulator, visit.entered["plate"]
    if seen != wanted:
        return failed(f"the plate says {seen!r}, the settings {wanted!r}: mend the one that errs")
    return Outcome(note=f"{visit.insulator.type.value}, {visit.insulator.sensor_place}")


def noise(visit: Visit) -> Outcome:
    """Without any current."""
    visit.act("Make sure that no current flows through the sensor: ring earthed, nothing injected.")
    table, _ = visit.look()
    return Outcome(
        readings=(
            Reading(
                name="noise, r.m.s.",
                figure=mean_ma(table, "rms_na"),
                unit="mA",
                high=limits.NOISE_MA_MAX,
            ),
            Reading(
                name="offset, absolute",
                figure=abs(mean_ma(table, "mean_na")),
                unit="mA",
                high=limits.OFFSET_MA_MAX,
            ),
        )
    )


def gain(visit: Visit) -> Outcome:
    """Five points; each is kept as it is made, so that a cut costs one point at most."""
    scale_ma = full_scale_ma(visit)
    points = [(float(a), float(b)) for a, b in visit.begun.kept.get("points", ())]
    for number in range(len(points) + 1, len(limits.GAIN_SHARES) + 1):
        aim_ma = limits.GAIN_SHARES[number - 1] * scale_ma / sqrt(2)
        visit.act(f"Point {number}: inject about {aim_ma:.3g} mA r.m.s. at mains frequency.")
        question = Question(f"injected_{number}_ma", INJECTED.words, Kind.NUMBER, f"{aim_ma:.3g}")
        if not (entered := visit.ask(question)):
            return Outcome(missing=(question.key,), readings=_gain_readings(points, scale_ma)[:-2])
        table, _ = visit.look()
        points.append((float(entered), mean_ma(table, "rms_na")))
        visit.keep({"points": points})
    readings = _gain_readings(points, scale_ma)
    off = not all(one.holds for one in readings[:-2])
    return Outcome(readings=readings, note=_gain_note(points) if off else "")


def _gain_note(points: list[tuple[float, float]]) -> str:
    injected, shown = np.array(points).T
    if not (injected @ shown) > 0:
        return "the sensor shows none of the current: look after leads, sensor and channel"
    slope = float(injected @ injected / (injected @ shown))
    return f"multiply the calibration's gain by {slope:.4f}, as a new dated entry"


def _gain_readings(points: list[tuple[float, float]], scale_ma: float) -> tuple[Reading, ...]:
    low, high = limits.GAIN_RATIO
    ratios = tuple(
        Reading(
            name=f"shown to injected at {injected:.4g} mA",
            figure=shown / injected,
            low=low,
            high=high,
        )
        for injected, shown in points
    )
    currents = [injected for injected, _ in points] or [1.0]
    return (
        *ratios,
        Reading(
            name="highest to lowest point",
            figure=max(currents) / min(currents),
            low=limits.GAIN_SPAN_MIN,
        ),
        Reading(
            name="highest point to full scale",
            figure=max(currents) * sqrt(2) / scale_ma,
            low=limits.GAIN_TOP_SHARE_MIN,
        ),
    )


def saturation(visit: Visit) -> Outcome:
    """Clipping is found, flagged, and not too early."""
    scale_ma = full_scale_ma(visit)
    aim_ma = 1.2 * scale_ma / sqrt(2)
    visit.act(
        f"Inject about {aim_ma:.3g} mA r.m.s., a fifth above the full scale, for the time of "
        "this measurement only; not more than the sensor's rating allows."
    )
    table, _ = visit.look()
    flagged = [Flag.SATURATED.value in flag_words(bits) for bits in table.flags.tolist()]
    return Outcome(
        readings=(
            Reading(
                name="windows flagged as saturated",
                figure=float(sum(flagged)),
                low=limits.SATURATED_WINDOWS_MIN,
            ),
            Reading(
                name="highest current shown to full scale",
                figure=float(table.peak_ua.max()) / 1e3 / scale_ma,
                low=limits.FULL_SCALE_SHARE_MIN,
            ),
        )
    )


def bypass_dry(visit: Visit) -> Outcome:
    """A current put onto the surface above the dry ring comes to the sensor."""
    visit.act(
        "With ring and surface dry, inject onto a band of foil around the shed above the "
        "ring, against the earthed end fitting."
    )
    return _shared(visit, limits.BYPASS_DRY_MIN, "")


def bypass_wet(visit: Visit) -> Outcome:
    """The same with a film around the ring, which is when the reading matters."""
    conductivity = float(visit.entered["conductivity_ms_cm"])
    if conductivity < limits.WETTING_MS_CM_MIN:
        return failed(
            f"{conductivity:g} mS/cm proves nothing about a salty film; salt the water "
            f"to at least {limits.WETTING_MS_CM_MIN:g} mS/cm"
        )
    visit.act(
        "Spray ring, sheath and the shed below it until a whole film stands around the ring "
        "down to the end fitting; inject as before while it is wet."
    )
    return _shared(
        visit,
        limits.BYPASS_WET_MIN,
        "the film leads current past the ring: renew its sealing to the surface, or lower the "
        "sensor's resistance to earth",
    )


def _shared(visit: Visit, low: float, todo: str) -> Outcome:
    if not (entered := visit.ask(INJECTED)):
        return Outcome(missing=(INJECTED.key,))
    table, _ = visit.look()
    share = mean_ma(table, "rms_na") / float(entered)
    reading = Reading(
        name="share of the current that is collected",
        figure=share,
        low=low,
        high=limits.GAIN_RATIO[1],
    )
    note = "" if reading.holds else todo
    return Outcome(readings=(reading,), entered={INJECTED.key: entered}, note=note)
