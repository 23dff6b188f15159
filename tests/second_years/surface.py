"""What the true surfaces do in the weather: salt, brine film, percolation, hydrophobicity, arcs.

1. *Salt.* A lasting load of each insulator, and fresh salt of the site: brought by onshore wind,
   washed off by rain, blown off slowly. Both carry ions; the film's plateau goes with their sum.
2. *Brine.* Salt takes up water by an isotherm, water to salt as a / (1 - a), with `a` the water
   activity at the *surface*: the sun warms it, a clear calm night cools it below the air. It
   dissolves near 0.75 and crystallises only near 0.50; water comes and goes with a lag.
3. *Film.* Drops swell with x = ln(a / (1 - a)) and touch: conduction by percolation,
   p**1.6 with p a logistic of x about a point that belongs to the surface. So current is neither a
   log-linear function of humidity nor unbounded: it has an own plateau.
4. *Hydrophobicity.* Long wetting lowers that point, dry hours bring it back; a lasting part stays.
5. *Ions* move faster when warm: 2 % a kelvin.
6. *Nights* differ: 0.5 in natural log, skewed with a heavy tail, each resembling the last, in part
   the same for the whole site.
7. *Arcs.* Half-cycles arc where the film's current passes a point of its own, more while it dries.

All constants are choices with plausible sizes (facts of the trade as far as they go), none is
taken from the trend.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.signal import lfilter

from tests.second_years.climate import Climate, Floats, saturation_hpa

DISSOLVES, CRYSTALLISES = 0.75, 0.50
SALT_LEFT_DRY = 0.04
"""What dry crystals still conduct: magnesium salts stay moist (inference)."""

TAKES_UP_H, GIVES_OFF_H = 0.7, 1.3
PERCOLATION = 1.6
WIDTH = 0.5
"""Of the logistic, in x: surfaces are no sharper than their drops are alike."""

ONSET_SHARE = 0.2
NIGHT_SD, SITE_SHARE, NIGHT_MEMORY = 0.5, 0.5, 0.35
HOUR_SD, HOUR_MEMORY = 0.15, 0.5


@dataclass(frozen=True, slots=True)
class Surfaces:
    """Insulators of one site. Shape (insulators,) or, where it changes, (hours, insulators).

    plateau_ma: film current of a full film at 20 degC. half_x: x at which half the drops touch.
    load: lasting salt against its first value. lowered_x: lasting fall of half_x.
    loss_x: fall of half_x when hydrophobicity is lost for the time being. loses_h, regains_h: time
    constants of losing it in wet hours and of taking it back in dry ones. sun: share of the sun
    that it sees. arc_ma: where arcs set in.
    """

    plateau_ma: Floats
    half_x: Floats
    sun: Floats
    arc_ma: Floats
    load: Floats
    lowered_x: Floats
    loss_x: Floats
    loses_h: Floats
    regains_h: Floats


@dataclass(frozen=True, slots=True)
class Truth:
    """What really flowed. Shape (hours, insulators). film_ma: resistive, r.m.s.; arcing: share of
    half-cycles; lost: hydrophobicity lost for the time being, 0 to 1; fresh: salt of the site
    against its lasting load, shape (hours,)."""

    film_ma: Floats
    arcing: Floats
    lost: Floats
    fresh: Floats


def onset_activity(half_x: Floats | float) -> Floats:
    """Water activity at which a slowly wetted film has ONSET_SHARE of its plateau."""
    touching = ONSET_SHARE ** (1 / PERCOLATION)
    return 1 / (1 + np.exp(-(np.asarray(half_x) + WIDTH * np.log(touching / (1 - touching)))))


def lowered_by(half_x: Floats, fall_rh_pct: float) -> Floats:
    """How far half_x must fall that the onset falls by so many per cent of humidity."""
    here = onset_activity(half_x)
    there = here - fall_rh_pct / 100
    return np.asarray(np.log(here / (1 - here)) - np.log(there / (1 - there)))


def ordinary(rng: np.random.Generator, hours: int, count: int) -> Surfaces:
    """Unlike insulators of one site on which nothing happens."""
    flat = np.ones((hours, count))
    return Surfaces(
        plateau_ma=3.0 * np.exp(0.4 * rng.standard_normal(count)),
        half_x=rng.normal(2.0, 0.2, count),
        sun=rng.uniform(0.4, 1.0, count),
        arc_ma=5.0 * np.exp(0.3 * rng.standard_normal(count)),
        load=flat,
        lowered_x=0 * flat,
        loss_x=rng.uniform(0.1, 0.3, count) * flat,
        loses_h=36.0 * flat,
        regains_h=40.0 * flat,
    )


def fresh_salt(weather: Climate, rng: np.random.Generator) -> Floats:
    """Fresh salt of the site against its lasting load: wind brings it, rain and wind take it."""
    toward = np.cos(np.radians(weather.wind_from_deg - weather.coast.sea_deg))
    brought = np.clip(toward, 0, None) * np.clip(weather.wind_m_s - 3, 0, None) ** 2
    brought = 0.0025 * brought / np.mean(brought)
    keeps = np.exp(-weather.rain_mm / 8.0 - 1 / (15 * 24))
    salt, gone = np.empty(brought.size), 0.25 * rng.random()
    for hour in range(brought.size):
        gone = salt[hour] = gone * keeps[hour] + brought[hour]
    return salt


def surface_activity(weather: Climate, sun: Floats) -> Floats:
    """Water activity at each surface, at most 0.995. Shape (hours, insulators)."""
    stirred = 1 + weather.wind_m_s / 2
    warmed = weather.sun_w_m2[:, None] * sun[None, :] * 0.009 / stirred[:, None]
    cooled = np.where(weather.sun_w_m2 > 5, 0, 1.2 * (1 - 0.85 * weather.cloud))
    surface_c = weather.air_c[:, None] + warmed - (cooled * np.exp(-weather.wind_m_s / 4))[:, None]
    vapour = weather.activity * saturation_hpa(weather.air_c)
    activity = vapour[:, None] / saturation_hpa(surface_c)
    return np.minimum(np.where(weather.rain_mm[:, None] > 0.2, 0.99, activity), 0.995)


def night_levels(weather: Climate, rng: np.random.Generator, count: int) -> Floats:
    """Log level of each hour's night: skewed, heavy-tailed, with memory; nights join at noon."""
    nights = (np.arange(weather.air_c.size) - 12) // 24 + 1
    shape = (int(nights[-1]) + 1, count + 1)
    heavy = 0.75 * rng.standard_t(5, shape) / np.sqrt(5 / 3)
    shocks = heavy + np.sqrt(1 - 0.75**2) * (rng.exponential(1.0, shape) - 1)
    levels = lfilter([np.sqrt(1 - NIGHT_MEMORY**2)], [1.0, -NIGHT_MEMORY], shocks, axis=0)
    own, common = levels[:, :count], levels[:, count:]
    mixed = np.sqrt(SITE_SHARE) * common + np.sqrt(1 - SITE_SHARE) * own
    return np.asarray(NIGHT_SD * mixed)[nights]


def films(weather: Climate, activity: Floats, these: Surfaces) -> tuple[Floats, Floats]:
    """Conducting share of the plateau, and hydrophobicity lost: hour by hour, with memory."""
    aim = np.log(activity / (1 - activity))
    up, down = 1 - np.exp(-1 / TAKES_UP_H), 1 - np.exp(-1 / GIVES_OFF_H)
    wetting, drying = np.exp(-1 / these.loses_h), np.exp(-1 / these.regains_h)
    water, lost = np.empty_like(aim), np.empty_like(aim)
    dissolved = np.empty(aim.shape, dtype=bool)
    soaked, kept = activity > DISSOLVES, activity > CRYSTALLISES
    x, brine = aim[0], soaked[0]
    gone, wet_h = np.zeros(x.size), np.zeros(x.size)
    for hour in range(aim.shape[0]):
        rise = aim[hour] - x
        x = x + np.where(rise > 0, up, down) * rise
        brine = soaked[hour] | (brine & kept[hour])
        wet_h = (wet_h + 1) * (brine & (x > 1.2))
        losing = 1 - (1 - gone) * wetting[hour]
        gone = np.where(wet_h > 4, losing, np.where(x < 0.9, gone * drying[hour], gone))
        water[hour], dissolved[hour], lost[hour] = x, brine, gone
    half = these.half_x - these.lowered_x - these.loss_x * lost
    touching = 1 / (1 + np.exp(-(water - half) / WIDTH))
    return touching**PERCOLATION * np.where(dissolved, 1.0, SALT_LEFT_DRY), lost


def truth(weather: Climate, these: Surfaces, rng: np.random.Generator) -> Truth:
    """The true currents of these surfaces in this weather."""
    count, hours = these.plateau_ma.size, weather.air_c.size
    activity = surface_activity(weather, these.sun)
    share, lost = films(weather, activity, these)
    fresh = fresh_salt(weather, rng)
    noise = rng.standard_normal((hours, count)) * np.sqrt(1 - HOUR_MEMORY**2)
    flutter = HOUR_SD * np.asarray(lfilter([1.0], [1.0, -HOUR_MEMORY], noise, axis=0))
    warm = np.clip(1 + 0.02 * (weather.air_c - 20), 0.3, None)
    film = these.plateau_ma * these.load * share * ((1 + fresh) * warm)[:, None]
    film = film * np.exp(night_levels(weather, rng, count) + flutter)
    drying = np.diff(activity, axis=0, prepend=activity[:1]) < -0.01
    over = np.log(np.maximum(film, 1e-9) / these.arc_ma) + 0.4 * drying
    arcing = np.where(film > 0.3, 0.8 / (1 + np.exp(-over / 0.4)), 0.0)
    return Truth(film, arcing * rng.beta(4, 2, film.shape), lost, fresh)


def as_counts(shares: Floats, of: float, rng: np.random.Generator) -> npt.NDArray[np.int64]:
    """Shares of half-cycles as counts."""
    return np.asarray(rng.binomial(int(of), np.clip(shares, 0, 1)), dtype=np.int64)
