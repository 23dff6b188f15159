"""The state of the surface in each window, told by shape and phase, never by amplitude."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from edge.measure.flags import flag_bits
from edge.measure.placing import Placement, Signal
from edge.measure.plan import MeasureLimits
from edge.measure.waveform import NA, Spectral
from edge.measure.windows import ABSENT
from edge.quantities import STATES, Flag, State

Floats = npt.NDArray[np.float64]
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
    """What the states of some windows are told from.

    owner: which signal each window is of. on: the line carries voltage, as far as that tells.
    span_ma: between the lowest and the highest sample. columns: those made of the windows already.
    """

    signals: Sequence[Signal]
    owner: Integers
    placed: Placement
    limits: MeasureLimits
    found: Spectral
    on: Bools
    lost: Bools
    span_ma: Floats
    columns: Mapping[str, Integers]

    def of_each(self, figure: Callable[[Signal], float | None]) -> Floats:
        """A figure of each window's signal; NaN where it has none."""
        told = [figure(signal) for signal in self.signals]
        return np.array([np.nan if one is None else one for one in told], np.float64)[self.owner]


def state_columns(seen: Seen) -> dict[str, Integers]:
    """The columns `state`, `flags` and `live`."""
    in_phase = _in_phase(seen)
    against = _reversed(seen)
    wet = _wet(seen, in_phase, against)
    # where samples are lost nobody can say that no current flows
    live, dead = _live(seen) | seen.lost, _dead(seen)
    on = seen.on & (live | _voltage_told(seen))
    arcs, judged_by = seen.columns["arcing"], seen.columns["halfcycles_judged"]
    dense = ((arcs * 2 >= judged_by) & (arcs > 0)).any(axis=1)
    silent = dead | (on & ~live)
    state = np.full(len(seen.lost), STATE_INDEX[State.DRY], np.int64)
    for mask, name in (
        (wet, State.WET),
        (arcs.any(axis=1), State.ARCING_SPARSE),
        (dense, State.ARCING_DENSE),
        (silent, State.UNKNOWN),
        (~on & ~live, State.DE_ENERGISED),
        (seen.lost, State.UNKNOWN),
    ):
        state[mask] = STATE_INDEX[name]
    flags = np.array([one.flags for one in seen.signals], np.int64)[seen.owner]
    for mask, flag in (
        *_plain_flags(seen, on),
        (silent & on & ~seen.lost & (seen.placed.cycles > 0), Flag.SENSOR_FAULT),
        (on & against, Flag.SENSOR_REVERSED),
        ((in_phase == ABSENT) & wet, Flag.STATED_FLOOR),
    ):
        flags[mask] |= flag_bits(flag)
    return {"state": state, "flags": flags, "live": live.astype(np.int64)}


def _voltage_told(seen: Seen) -> Bools:
    """Not where a voltage channel has carried no mains since the segment began: a dead line."""
    doubtful = flag_bits(Flag.REFERENCE_DOUBTFUL)
    return np.array([not one.flags & doubtful for one in seen.signals], np.bool_)[seen.owner]


def _level(seen: Seen) -> Integers:
    """R.m.s. of the fundamental, or of all where a window is short [nA]."""
    h1, rms = seen.columns["h1_na"], seen.columns["rms_na"]
    return np.where(h1 == ABSENT, rms, h1)


def _live(seen: Seen) -> Bools:
    """Whether a current flows at all."""
    limits = seen.limits
    floor_na = seen.of_each(
        lambda one: max(limits.gone_ma, limits.gone_ratio * (one.calibration.dry_ma or 0.0)) * NA
    )
    return np.asarray((_level(seen) > floor_na) | seen.columns["arcing"].any(axis=1), np.bool_)


def _dead(seen: Seen) -> Bools:
    if seen.placed.halves < 2:
        return np.zeros(len(seen.lost), np.bool_)
    return np.asarray(seen.span_ma < SENSOR_CONSTANT_MA, np.bool_)


def _wet(seen: Seen, in_phase: Integers, against: Bools) -> Bools:
    """A resistive current flows; by a stated floor alone where no voltage tells it."""
    resistive = np.where(in_phase == ABSENT, 0, in_phase) / NA
    resistive = np.where(against, -resistive, resistive) - seen.of_each(_dry_in_phase)
    by_phase = resistive * PEAK > _least_film(seen)
    absent = in_phase == ABSENT
    if not absent.any():
        return np.asarray(by_phase, np.bool_)
    return np.asarray(np.where(absent, _wet_by_size(seen), by_phase), np.bool_)


def _dry_in_phase(signal: Signal) -> float:
    """The part of the dry current that flows with the voltage [mA]; 0 where it is not known."""
    dry = signal.calibration
    if dry.dry_ma is None or dry.dry_deg is None:
        return 0.0
    return float(dry.dry_ma * np.cos(np.radians(dry.dry_deg)))


def _least_film(seen: Seen) -> Floats:
    """Crest of the film current from which on a surface is wet [mA]."""
    limits = seen.limits
    spread = seen.of_each(lambda one: one.calibration.dry_spread_ma)
    least = np.maximum(limits.wet_peak_ma, limits.wet_spread_factor * PEAK * spread)
    return np.asarray(least, np.float64)


def _in_phase(seen: Seen) -> Integers:
    """In-phase current [nA]; of a short window from its energy, ABSENT where no voltage tells."""
    in_phase, energy = seen.columns["in_phase_na"], seen.columns["energy_uj"]
    if seen.placed.halves < SHORT_HALVES_MIN:
        return in_phase
    level_kv = seen.of_each(lambda one: one.voltage_level_kv)
    told = (in_phase == ABSENT) & (energy[:, 0] != ABSENT) & (level_kv > 0.0)
    if not told.any():
        return in_phase
    watts = energy.sum(axis=1) / 1e6 / (seen.columns["duration_us"] / 1e6)
    found = np.where(told, watts, 0.0) / np.where(told, level_kv, 1.0) * NA
    return np.where(told, np.rint(found), in_phase).astype(np.int64)


def _wet_by_size(seen: Seen) -> Bools:
    """Without a voltage: what the known dry current does not explain, else a stated floor."""
    level_ma, dry_ma = _level(seen) / NA, seen.of_each(lambda one: one.calibration.dry_ma)
    known = np.isfinite(dry_ma)
    dry_ma = np.where(known, dry_ma, 0.0)
    film_ma = np.sqrt(np.maximum(np.square(level_ma) - np.square(dry_ma), 0.0))
    # where the film is small its square hides behind the dry current's own changes
    told = level_ma > dry_ma * DRY_CHANGE_MAX
    by_film = told & (film_ma * PEAK > _least_film(seen))
    by_floor = level_ma * PEAK > seen.limits.stated_floor_ma
    return np.asarray(np.where(known, by_film, by_floor), np.bool_)


def _reversed(seen: Seen) -> Bools:
    """Leads reversed: a resistive current that would flow against the voltage."""
    in_phase, h1 = seen.columns["in_phase_na"], seen.columns["h1_na"]
    against = (in_phase != ABSENT) & (in_phase < 0) & (in_phase < -REVERSED_MIN * h1)
    return np.asarray(against & (-in_phase * PEAK > seen.limits.wet_peak_ma * NA), np.bool_)


def _plain_flags(seen: Seen, on: Bools) -> tuple[tuple[Bools, Flag], ...]:
    """Flags that hang on one column each."""
    columns, count = seen.columns, len(seen.lost)
    thd = seen.found.voltage_thd
    distorted = np.zeros(count, np.bool_) if thd is None else on & ~(thd <= REFERENCE_THD_MAX)
    fine_ua = seen.of_each(lambda one: one.fine_ma * 1e3)
    return (
        (np.full(count, seen.placed.cycles == 0), Flag.SHORT_WINDOW),
        (seen.lost, Flag.MISSING),
        (columns["clipped_halfcycles"] > 0, Flag.SATURATED),
        (columns["doubtful_halfcycles"] > 0, Flag.DOUBTFUL_ARCING),
        (columns["peak_ua"] > fine_ua, Flag.FINE_RANGE_CLIPPED),
        (distorted, Flag.REFERENCE_DOUBTFUL),
        (on & _abnormal(seen), Flag.VOLTAGE_ABNORMAL),
    )


def _abnormal(seen: Seen) -> Bools:
    """A voltage outside the band of normal service; needs a nominal voltage."""
    if seen.found.voltage_line is None:
        return np.zeros(len(seen.lost), np.bool_)
    nominal_kv = seen.of_each(lambda one: one.nominal_kv)
    low, high = seen.limits.voltage_low_ratio * nominal_kv, seen.limits.voltage_high_ratio
    volts = seen.columns["voltage_mv"] / 1e6
    told = seen.columns["voltage_mv"] != ABSENT
    # where no nominal voltage is known neither comparison holds
    return np.asarray(told & ((volts < low) | (volts > high * nominal_kv)), np.bool_)
