"""The state of the surface in each window, told by shape and phase, never by amplitude."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from edge.measure.flags import flag_bits
from edge.measure.placing import Placement, Signal
from edge.measure.plan import MeasureLimits
from edge.measure.sums import extremes
from edge.measure.waveform import NA, Spectral, energised
from edge.measure.windows import ABSENT
from edge.quantities import STATES, Flag, State

Integers = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

STATE_INDEX = {state: index for index, state in enumerate(STATES)}

SENSOR_CONSTANT_MA = 1e-3
"""A channel that moves by less over a whole window is dead, shorted or stuck."""

REFERENCE_THD_MAX = 0.12
"""A voltage more distorted than this is a doubtful reference. Design choice."""

PEAK = np.sqrt(2.0)

DRY_CHANGE_MAX = 1.1
"""Without a voltage a fundamental within so many times the dry one may be the dry one. Design
choice."""

SHORT_HALVES_MIN = 2
"""Half-cycles of a short window whose energy tells the in-phase current."""

REVERSED_MIN = 0.25
"""Share of the fundamental that flows against the voltage when a sensor's leads are reversed."""


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """What the state is told from: one insulator's windows, and the columns made of them."""

    signal: Signal
    placed: Placement
    limits: MeasureLimits
    found: Spectral
    lost: Bools
    columns: Mapping[str, Integers]


def state_columns(seen: Seen) -> dict[str, Integers]:
    """The columns `state`, `flags` and `live`."""
    count = len(seen.lost)
    # where samples are lost nobody can say that no current flows
    live, dead = _live(seen) | seen.lost, _dead(seen)
    on = energised(seen.signal, seen.limits, seen.found, count) & (live | _voltage_told(seen))
    arcs, judged_by = seen.columns["arcing"], seen.columns["halfcycles_judged"]
    dense = ((arcs * 2 >= judged_by) & (arcs > 0)).any(axis=1)
    silent = dead | (on & ~live)
    state = np.full(count, STATE_INDEX[State.DRY], np.int64)
    for mask, name in (
        (_wet(seen), State.WET),
        (arcs.sum(axis=1) > 0, State.ARCING_SPARSE),
        (dense, State.ARCING_DENSE),
        (silent, State.UNKNOWN),
        (~on & ~live, State.DE_ENERGISED),
        (seen.lost, State.UNKNOWN),
    ):
        state[mask] = STATE_INDEX[name]
    flags = _flags(seen, on, silent & on & ~seen.lost & (seen.placed.cycles > 0))
    return {"state": state, "flags": flags, "live": live.astype(np.int64)}


def _voltage_told(seen: Seen) -> bool:
    """Not where a voltage channel has carried no mains since the segment began: a dead line."""
    return not seen.signal.flags & flag_bits(Flag.REFERENCE_DOUBTFUL)


def _level(seen: Seen) -> Integers:
    """R.m.s. of the fundamental, or of all where a window is short [nA]."""
    h1, rms = seen.columns["h1_na"], seen.columns["rms_na"]
    return np.where(h1 == ABSENT, rms, h1)


def _live(seen: Seen) -> Bools:
    """Whether a current flows at all."""
    dry_ma = seen.signal.calibration.dry_ma or 0.0
    floor_na = max(seen.limits.gone_ma, seen.limits.gone_ratio * dry_ma) * NA
    arcs = seen.columns["arcing"].sum(axis=1) > 0
    return np.asarray((_level(seen) > floor_na) | arcs, np.bool_)


def _dead(seen: Seen) -> Bools:
    placed, signal = seen.placed, seen.signal
    if placed.halves < 2:
        return np.zeros(len(seen.lost), np.bool_)
    edges = np.rint(np.stack([placed.starts, placed.ends], axis=1)).astype(np.int64)
    high, low = extremes(signal.current, edges - signal.kept_from)
    return np.asarray((high - low)[:, 0] < SENSOR_CONSTANT_MA, np.bool_)


def _wet(seen: Seen) -> Bools:
    """A resistive current flows; by a stated floor alone where no voltage tells it."""
    limits, calibration = seen.limits, seen.signal.calibration
    in_phase = _in_phase(seen)
    spread = limits.wet_spread_factor * calibration.dry_spread_ma * PEAK
    least = max(limits.wet_peak_ma, spread)
    resistive = np.where(in_phase == ABSENT, 0, in_phase) / NA
    resistive = np.where(_reversed(seen), -resistive, resistive)
    if calibration.dry_ma is not None and calibration.dry_deg is not None:
        resistive = resistive - calibration.dry_ma * np.cos(np.radians(calibration.dry_deg))
    by_phase = resistive * PEAK > least
    return np.asarray(np.where(in_phase == ABSENT, _wet_by_size(seen), by_phase), np.bool_)


def _in_phase(seen: Seen) -> Integers:
    """In-phase current [nA]; of a short window from its energy, ABSENT where no voltage tells."""
    in_phase, energy = seen.columns["in_phase_na"], seen.columns["energy_uj"][:, 0]
    level_kv, seconds = seen.signal.voltage_level_kv, seen.columns["duration_us"] / 1e6
    if seen.placed.halves < SHORT_HALVES_MIN or level_kv <= 0.0:
        return in_phase
    watts = seen.columns["energy_uj"].sum(axis=1) / 1e6 / seconds
    told = (in_phase == ABSENT) & (energy != ABSENT)
    return np.where(told, np.rint(np.where(told, watts, 0.0) / level_kv * NA), in_phase).astype(
        np.int64
    )


def _wet_by_size(seen: Seen) -> Bools:
    """Without a voltage: what the known dry current does not explain, else a stated floor."""
    level_ma, dry_ma = _level(seen) / NA, seen.signal.calibration.dry_ma
    if dry_ma is None:
        return np.asarray(level_ma * PEAK > seen.limits.stated_floor_ma, np.bool_)
    spread = seen.limits.wet_spread_factor * seen.signal.calibration.dry_spread_ma * PEAK
    film_ma = np.sqrt(np.maximum(np.square(level_ma) - dry_ma**2, 0.0))
    # where the film is small its square hides behind the dry current's own changes
    told = level_ma > dry_ma * DRY_CHANGE_MAX
    return np.asarray(told & (film_ma * PEAK > max(seen.limits.wet_peak_ma, spread)), np.bool_)


def _reversed(seen: Seen) -> Bools:
    """Leads reversed: a resistive current that would flow against the voltage."""
    in_phase, h1 = seen.columns["in_phase_na"], seen.columns["h1_na"]
    against = (in_phase != ABSENT) & (in_phase < 0) & (in_phase < -REVERSED_MIN * h1)
    return np.asarray(against & (-in_phase * PEAK > seen.limits.wet_peak_ma * NA), np.bool_)


def _flags(seen: Seen, on: Bools, sensor: Bools) -> Integers:
    columns, signal = seen.columns, seen.signal
    count = len(seen.lost)
    flags = np.full(count, signal.flags, np.int64)
    thd = seen.found.voltage_thd
    distorted = np.zeros(count, np.bool_) if thd is None else on & ~(thd <= REFERENCE_THD_MAX)
    for mask, flag in (
        (np.full(count, seen.placed.cycles == 0), Flag.SHORT_WINDOW),
        (seen.lost, Flag.MISSING),
        (columns["clipped_halfcycles"] > 0, Flag.SATURATED),
        (columns["doubtful_halfcycles"] > 0, Flag.DOUBTFUL_ARCING),
        (columns["peak_ua"] > signal.fine_ma * 1e3, Flag.FINE_RANGE_CLIPPED),
        (sensor, Flag.SENSOR_FAULT),
        (on & _reversed(seen), Flag.SENSOR_REVERSED),
        (distorted, Flag.REFERENCE_DOUBTFUL),
        (on & _abnormal(seen), Flag.VOLTAGE_ABNORMAL),
        ((_in_phase(seen) == ABSENT) & _wet(seen), Flag.STATED_FLOOR),
    ):
        flags[mask] |= flag_bits(flag)
    return flags


def _abnormal(seen: Seen) -> Bools:
    """A voltage outside the band of normal service; needs a nominal voltage."""
    volts, nominal_kv = seen.columns["voltage_mv"] / 1e6, seen.signal.nominal_kv
    if seen.found.voltage_line is None or nominal_kv is None:
        return np.zeros(len(seen.lost), np.bool_)
    low = seen.limits.voltage_low_ratio * nominal_kv
    high = seen.limits.voltage_high_ratio * nominal_kv
    told = seen.columns["voltage_mv"] != ABSENT
    return np.asarray(told & ((volts < low) | (volts > high)), np.bool_)
