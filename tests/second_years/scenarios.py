"""What can happen to a site in two years, and what is true of each insulator then.

A scenario takes a seed and a coast and gives a stage with its truth. Truth is exact where the
physics makes it so: a deposit multiplies the plateau, so the ratio is the factor.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from gateway.trends import MaintenanceRow
from gateway.trends.columns import Action
from tests.second_years.climate import YEAR_H, Floats, saturation_hpa
from tests.second_years.site import Stage, stage
from tests.second_years.surface import lowered_by

FALL_RH_PCT = 10.0


@dataclass(frozen=True, slots=True)
class Expected:
    """True of one insulator. changed: None where no comparison can be right. causes: right ones.

    ratio: of the index; None where it has no single truth. wash: true ratio of a wash. touched:
    whether something was done to this insulator. blind: its sensor cannot be believed.
    """

    changed: bool | None = False
    causes: frozenset[str] = frozenset({"none"})
    ratio: float | None = 1.0
    wash: float | None = None
    touched: bool = False
    blind: bool = False


Built = tuple[Stage, list[Expected], np.random.Generator]
Maker = Callable[[int, int], Built]
"""(seed, coast) to a stage with the truth of each insulator."""


def _moved(ratio: float | None, *causes: str) -> Expected:
    return Expected(True, frozenset(causes), ratio, touched=True)


def steady(seed: int, coast: int) -> Built:
    """Nothing happens in two years."""
    one, rng = stage([1, seed], coast, 6)
    return one, [Expected()] * 6, rng


def wet_after_dry_year(seed: int, coast: int) -> Built:
    """A dry year, then a wet one: depressions a quarter larger, then a fifth smaller."""
    dryness: Floats = np.repeat([1.25, 0.8], YEAR_H)
    one, rng = stage([2, seed], coast, 6, dryness=dryness)
    return one, [Expected()] * 6, rng


def wet_after_dry_season(seed: int, coast: int) -> Built:
    """Half-years: the drier half of the year as reference, the wetter one after it as now."""
    one, rng = stage([3, seed], coast, 6)
    month = YEAR_H // 12
    first = 10 * month if coast == 0 else 9 * month
    one = replace(
        one, reference=(first, first + 6 * month), now=(first + 6 * month, first + 12 * month)
    )
    return one, [Expected(ratio=None)] * 6, rng


def deposit_site(seed: int, coast: int) -> Built:
    """The lasting salt of the whole site doubles between the years."""
    one, rng = stage([4, seed], coast, 6)
    one = one.changed("load", slice(None), YEAR_H, 2.0)
    return one, [_moved(2.0, "deposit-site")] * 6, rng


def deposit_one(seed: int, coast: int) -> Built:
    """The lasting salt of one insulator doubles, by a new emitter beside it."""
    one, rng = stage([5, seed], coast, 6)
    one = one.changed("load", 2, YEAR_H, 2.0)
    expected = [Expected()] * 6
    expected[2] = _moved(2.0, "single-unit")
    return one, expected, rng


def deposit_various(seed: int, coast: int) -> Built:
    """Half of the insulators change, each by a factor of its own (0.4 to 3); for the intervals."""
    one, rng = stage([6, seed], coast, 6)
    expected = [Expected()] * 6
    for at in range(3):
        factor = float(np.exp(rng.uniform(np.log(0.4), np.log(3.0))))
        one = one.changed("load", at, YEAR_H, factor)
        expected[at] = replace(_moved(factor), changed=None)
    return one, expected, rng


def onset_lasting(seed: int, coast: int) -> Built:
    """One insulator's onset falls by 10 % RH for good."""
    one, rng = stage([7, seed], coast, 6)
    fall = lowered_by(one.surfaces.half_x, FALL_RH_PCT)[2]
    one = one.lowered(2, YEAR_H, float(fall))
    expected = [Expected()] * 6
    expected[2] = _moved(1.0, "hydrophobicity-lasting")
    return one, expected, rng


def onset_reversible(seed: int, coast: int) -> Built:
    """One insulator loses 10 % RH of onset within a wet night and takes it back in dry hours.

    Nine tenths are back after 48 dry hours, which is what reversible is to mean.
    """
    one, rng = stage([8, seed], coast, 6)
    fall = float(lowered_by(one.surfaces.half_x, FALL_RH_PCT)[2])
    loss, loses = one.surfaces.loss_x.copy(), one.surfaces.loses_h.copy()
    regains = one.surfaces.regains_h.copy()
    loss[YEAR_H:, 2] += fall
    loses[YEAR_H:, 2], regains[YEAR_H:, 2] = 10.0, 20.0
    surfaces = replace(one.surfaces, loss_x=loss, loses_h=loses, regains_h=regains)
    one = replace(one, surfaces=surfaces)
    expected = [Expected()] * 6
    expected[2] = _moved(None, "hydrophobicity-reversible")
    return one, expected, rng


def probe_offset(seed: int, coast: int) -> Built:
    """The humidity probe reads 5 % wrong in the second year, low or high; surfaces are steady."""
    one, rng = stage([9, seed], coast, 6)
    offset = one.probe.offset_pct.copy()
    offset[YEAR_H:] += 5.0 * (1 if rng.random() < 0.5 else -1)
    one = replace(one, probe=replace(one.probe, offset_pct=offset))
    return one, [Expected(None, frozenset({"probe"}), 1.0, touched=True)] * 6, rng


def washed(seed: int, coast: int) -> Built:
    """Three insulators are washed between four and eight months into now, each by its own ratio."""
    one, rng = stage([10, seed], coast, 6)
    expected = [Expected()] * 6
    for at in range(3):
        ratio = float(rng.choice([0.25, 0.4, 0.6, 0.8, 1.0]))
        hour = YEAR_H + int(rng.integers(4, 9)) * YEAR_H // 12
        one = one.changed("load", at, hour, ratio)
        row = MaintenanceRow(one.names[at], one.at_us(hour), Action.WASH)
        one = replace(one, maintenance=(*one.maintenance, row))
        expected[at] = Expected(None, frozenset(), None, wash=ratio, touched=True)
    return one, expected, rng


def _sensor(seed: int, coast: int, number: int, gain_of: Callable[[Floats], Floats]) -> Built:
    one, rng = stage([number, seed], coast, 6)
    gain = one.loggers.gain.copy()
    gain[YEAR_H:, :2] *= gain_of(np.arange(YEAR_H) / YEAR_H)[:, None]
    one = replace(one, loggers=replace(one.loggers, gain=gain))
    expected = [Expected()] * 6
    for at in (0, 1):
        expected[at] = Expected(None, frozenset({"sensor"}), None, touched=True, blind=True)
    return one, expected, rng


def sensor_fades(seed: int, coast: int) -> Built:
    """Two sensors lose 60 % of their gain over the second year."""
    return _sensor(seed, coast, 11, lambda share: 1 - 0.6 * share)


def sensor_dies(seed: int, coast: int) -> Built:
    """Two sensors read nothing from a day on, a third into the second year."""
    return _sensor(seed, coast, 12, lambda share: np.where(share > 0.33, 0.0, 1.0))


def bypassed(seed: int, coast: int) -> Built:
    """A lead is bridged on two insulators: 70 % of the current goes past their sensors."""
    return _sensor(seed, coast, 13, lambda share: np.where(share > 0.1, 0.3, 1.0))


def outage(seed: int, coast: int) -> Built:
    """The line is dead for most of the second year, and rows do not say so."""
    one, rng = stage([14, seed], coast, 6)
    dead = one.loggers.dead.copy()
    dead[YEAR_H + YEAR_H // 10 :] = True
    one = replace(one, loggers=replace(one.loggers, dead=dead, dead_said=False))
    return one, [Expected(None, frozenset(), None, touched=True, blind=True)] * 6, rng


def two_wet_nights(seed: int, coast: int) -> Built:
    """Dry air all through both years, but for two nights of each."""
    one, rng = stage([15, seed], coast, 6)
    hours = np.arange(2 * YEAR_H)
    wet = np.zeros(hours.size, dtype=bool)
    for year in (0, 1):
        for day in (100, 250):
            first = year * YEAR_H + day * 24 + 18
            wet[first : first + 14] = True
    air = one.weather.air_c
    dew = np.where(wet, air - 0.5, np.minimum(one.weather.dew_c, air - 10))
    activity = saturation_hpa(dew) / saturation_hpa(air)
    weather = replace(one.weather, dew_c=dew, activity=activity, rain_mm=np.zeros(hours.size))
    blind = Expected(None, frozenset(), None, touched=True, blind=True)
    return replace(one, weather=weather), [blind] * 6, rng


def all_zero(seed: int, coast: int) -> Built:
    """Every current of every insulator reads zero for two years."""
    one, rng = stage([16, seed], coast, 6)
    loggers = replace(one.loggers, gain=0 * one.loggers.gain, noise_ma=0.0, arcs=False)
    blind = Expected(None, frozenset(), None, touched=True, blind=True)
    return replace(one, loggers=loggers), [blind] * 6, rng


def without_weather(seed: int, coast: int) -> Built:
    """No station: nothing can be said at equal wetness."""
    one, rng = stage([17, seed], coast, 6)
    blind = Expected(None, frozenset(), None, touched=True, blind=True)
    return replace(one, with_weather=False), [blind] * 6, rng


def alone_steady(seed: int, coast: int) -> Built:
    """A site of one insulator on which nothing happens."""
    one, rng = stage([18, seed], coast, 1)
    return one, [Expected()], rng


def alone_doubled(seed: int, coast: int) -> Built:
    """A site of one insulator whose salt doubles: nobody can tell whether the site did."""
    one, rng = stage([19, seed], coast, 1)
    return one.changed("load", 0, YEAR_H, 2.0), [_moved(2.0, "cannot-tell")], rng


SCENARIOS: dict[str, Maker] = {
    "steady": steady,
    "wet year after a dry one": wet_after_dry_year,
    "wet season after a dry one": wet_after_dry_season,
    "deposit doubled, site": deposit_site,
    "deposit doubled, one": deposit_one,
    "deposits by various factors": deposit_various,
    "onset 10 % RH lower, lasting": onset_lasting,
    "onset 10 % RH lower, reversible": onset_reversible,
    "humidity probe 5 % off": probe_offset,
    "washed": washed,
    "sensor fades": sensor_fades,
    "sensor dies": sensor_dies,
    "lead bypassed": bypassed,
    "outage, not said": outage,
    "two wet nights a year": two_wet_nights,
    "all currents zero": all_zero,
    "no weather": without_weather,
    "one insulator, steady": alone_steady,
    "one insulator, deposit doubled": alone_doubled,
}
