"""From physics to samples: arcs along the sine, droplet spikes, the sensor, the converter."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from edge.sense.virtual_site.arc_law import ArcCurve
from edge.sense.virtual_site.arcs import Discharges, HalfCycles
from edge.sense.virtual_site.plan import SitePlan

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

SPIKES_MOST = 0.6
"""Mean spikes a half-cycle on a fully beaded surface in fog (design choice)."""
SPIKE_MEDIAN_MA = 1.2
SPIKE_SPREAD = 0.75
SPIKE_MOST_MA = 8.0
"""Crest of a spike just behind the sensor's low-pass: log-normal, cut (design choice). The samples
show less of it the coarser they are."""
SPIKE_ANGLE_RAD = 0.28
"""Spread of spikes about the crest (design choice); field is raised where water, air and rubber
meet (common practice)."""
FILTER_REMAINS = 1e-7
"""The filter's memory is cut where less than this is left of it; below one code of 16 bits."""


@dataclass(frozen=True, slots=True, eq=False)
class Burned:
    """What the discharges of one second gave.

    current_a: shape (insulators, samples + overlap), signed; what lies past the second's end
    belongs to the next. charge_c, energy_j: shape (insulators, half-cycles), unsigned.
    """

    current_a: Floats
    charge_c: Floats
    energy_j: Floats


def overlap_samples(rate_hz: float, nominal_hz: float) -> int:
    """Samples that a half-cycle begun within a second may reach beyond its end."""
    return math.ceil(0.55 * rate_hz / nominal_hz) + 2


def arc_currents(
    curve: ArcCurve,
    made: Discharges,
    cycles: HalfCycles,
    volts: Floats,
    phase_rows: Ints,
    step_rad: float,
    rate_hz: float,
) -> Burned:
    """Evaluates every discharge on the actual voltage; volts: shape (phases, samples + overlap).

    Ignition and extinction fall between samples: the sample beside each carries its share of the
    interval, as a sensor that averages would see it.
    """
    count, most = cycles.place.shape
    length = volts.shape[1]
    reach = overlap_samples(rate_hz, rate_hz * step_rad / (2.0 * math.pi))
    place = cycles.place[made.row, made.column]
    at = np.ceil(place).astype(np.int64)[:, None] + np.arange(reach)
    np.minimum(at, length - 1, out=at)
    angle = (at - place[:, None]) * step_rad
    sign = np.where(cycles.positive[made.row, made.column], 1.0, -1.0)[:, None]
    forward_v = volts.ravel()[at + (phase_rows[made.row] * length)[:, None]] * sign
    amps = _burning(curve, made, forward_v, angle, step_rad)
    size = count * length
    where = (at + (made.row * length)[:, None]).ravel()
    current = np.bincount(where, weights=(amps * sign).ravel(), minlength=size)
    cell = made.row * most + made.column
    charge = np.bincount(cell, weights=amps.sum(axis=1), minlength=count * most) / rate_hz
    power = np.einsum("ij,ij->i", amps, forward_v)
    energy = np.bincount(cell, weights=power, minlength=count * most) / rate_hz
    return Burned(
        current_a=current.astype(float).reshape(count, length),
        charge_c=charge.astype(float).reshape(count, most),
        energy_j=energy.astype(float).reshape(count, most),
    )


def _burning(
    curve: ArcCurve, made: Discharges, forward_v: Floats, angle: Floats, step_rad: float
) -> Floats:
    """Unsigned current [A] of each discharge, shape (discharges, samples of a half-cycle)."""
    excess = np.maximum(forward_v / made.least_v[:, None] - 1.0, 0.0)
    arc = made.least_a[:, None] * curve.ratio(np.sqrt(excess)) * (excess > 0.0)
    lit = np.clip((angle - made.begins[:, None]) / step_rad + 0.5, 0.0, 1.0)
    lit *= np.clip((made.ends[:, None] - angle) / step_rad + 0.5, 0.0, 1.0)
    paused = np.nonzero(made.pause < made.ends)[0]
    if paused.shape[0]:
        off = np.clip((angle[paused] - made.pause[paused, None]) / step_rad + 0.5, 0.0, 1.0)
        off *= np.clip((made.resumes[paused, None] - angle[paused]) / step_rad + 0.5, 0.0, 1.0)
        lit[paused] *= 1.0 - off
    arc *= lit
    glows = np.nonzero(made.glow_v > 0.0)[0]
    if glows.shape[0]:
        over = np.maximum(forward_v[glows] - made.glow_v[glows, None], 0.0)
        own = (angle[glows] >= 0.0) & (angle[glows] < math.pi)
        arc[glows] = over / made.rest_ohm[glows, None] * own
    return np.asarray(arc)


def spikes(
    activity: Floats,
    cycles: HalfCycles,
    live: Floats,
    step_rad: float,
    length: int,
    lowpass_hz: float,
    rate_hz: float,
    rng: np.random.Generator,
) -> tuple[Floats, Bools]:
    """Droplet corona: short charges near the crest of either polarity, more often the negative.

    activity: 0 to 1 for each insulator. live: voltage of each half-cycle against normal.
    Returns the current [A], shape (insulators, length), and which half-cycles had any.
    """
    count = activity.shape[0]
    rate = SPIKES_MOST * activity[:, None] * np.where(cycles.positive, 0.7, 1.3)
    number = rng.poisson(np.where(cycles.real & (live > 0.8), rate, 0.0))
    if not number.any():
        return np.zeros((count, length)), number > 0
    row, column = np.nonzero(number)
    repeat = number[row, column]
    row, column = np.repeat(row, repeat), np.repeat(column, repeat)
    size = row.shape[0]
    angle = np.clip(math.pi / 2.0 + SPIKE_ANGLE_RAD * rng.standard_normal(size), 0.7, 2.4)
    at = cycles.place[row, column] + angle / step_rad
    crest_ma = SPIKE_MEDIAN_MA * np.exp(SPIKE_SPREAD * rng.standard_normal(size))
    charge_c = 1e-3 * np.minimum(crest_ma, SPIKE_MOST_MA) / (2.0 * math.pi * lowpass_hz)
    amps = np.where(cycles.positive[row, column], charge_c, -charge_c) * rate_hz
    low = at.astype(np.int64)
    part = at - low
    where = np.concatenate([row * length + low, row * length + low + 1])
    weights = np.concatenate([amps * (1.0 - part), amps * part])
    current = np.bincount(where, weights=weights, minlength=count * length)
    return current.astype(float).reshape(count, length), number > 0


def filter_memory(lowpass_hz: float, rate_hz: float) -> int:
    """Samples before a block that the sensor's low-pass still remembers: a power of two."""
    decay = 2.0 * math.pi * lowpass_hz / rate_hz
    stages = max(1, math.ceil(math.log2(-math.log(FILTER_REMAINS) / decay)))
    return 1 << stages


def lowpass(current: Floats, memory: int, lowpass_hz: float, rate_hz: float) -> Floats:
    """First-order low-pass along the last axis; the first `memory` columns are history, dropped.

    Exact for a current that goes straight from sample to sample, so its phase lag at mains
    frequency is the analogue one at every rate. The recursion's response a^k is built by doubling.
    """
    step = 2.0 * math.pi * lowpass_hz / rate_hz
    decay = math.exp(-step)
    share = (1.0 - decay) / step
    smooth = (1.0 - share) * current[:, 1:]
    smooth += (share - decay) * current[:, :-1]
    reach, weight = 1, decay
    while reach < memory:
        smooth[:, reach:] += weight * smooth[:, :-reach]
        reach, weight = 2 * reach, weight * weight
    return smooth[:, memory - 1 :]


def white_noise(channels: int, samples: int, rng: np.random.Generator) -> npt.NDArray[np.float32]:
    """Noise of unit variance, shape (channels, samples): each the sum of four random bytes, so
    nearly Gaussian (never beyond 3.5) and several times cheaper than a true one."""
    drawn = np.frombuffer(rng.bytes(4 * channels * samples), dtype=np.int8)
    planes = drawn.reshape(4, channels, samples)
    total = planes[0].astype(np.int16)
    for plane in planes[1:]:
        total += plane
    spread = np.float32(math.sqrt(4 * (256**2 - 1) / 12))
    return np.asarray((total + np.float32(2.0)) / spread)


def codes(plan: SitePlan, current_a: Floats, volts: Floats, gains: Floats) -> npt.NDArray[np.int16]:
    """Converter codes, shape (samples, channels): currents, fine currents, then the voltages.

    gains: codes for each ampere or volt, in the order of the channels.
    """
    fine = [row for row, unit in enumerate(plan.insulators) if unit.fine_full_scale_ma is not None]
    rows = np.concatenate([current_a, current_a[fine], volts])
    rows *= gains[:, None]
    np.rint(rows, out=rows)
    np.clip(rows, -plan.code_most - 1, plan.code_most, out=rows)
    return np.ascontiguousarray(rows.T, dtype=np.int16)
