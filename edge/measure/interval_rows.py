"""One row of consecutive windows: sums are exact sums of whole numbers, the rest are means of
squares."""

from __future__ import annotations

import math
from operator import mul

import numpy as np
import numpy.typing as npt

from edge.measure.flags import flag_words
from edge.measure.windows import ABSENT, LEVELS, WindowTable
from edge.quantities import STATES, State
from edge.records import IntervalRow, Span

Integers = npt.NDArray[np.int64]

SEVERE_ORDER = (State.DE_ENERGISED, State.WET, State.DRY, State.UNKNOWN)
"""Which state names an interval without arcs where covers are equal."""


def interval_row(windows: WindowTable, span: Span, insulator: str, calibration: str) -> IntervalRow:
    """One row of consecutive windows."""
    start_us = int(windows.start_us[0])
    duration_us = _total(windows.duration_us)
    arcing = windows.arcing.sum(axis=0)
    return IntervalRow(
        span=span,
        insulator=insulator,
        start_counter=int(windows.start[0]),
        start_us=start_us,
        duration_us=duration_us,
        windows=len(windows),
        state=_state(windows),
        state_us=_state_cover(windows),
        halfcycles=_total(windows.halfcycles),
        arcing_halfcycles=int(arcing.sum()),
        arcing_positive=int(arcing[0]),
        arcing_negative=int(arcing[1]),
        doubtful_halfcycles=_total(windows.doubtful_halfcycles),
        spike_halfcycles=_total(windows.spike_halfcycles),
        clipped_halfcycles=_total(windows.clipped_halfcycles),
        peak_ua=int(windows.peak_ua.max()),
        arcing_peak_ua=int(windows.arcing_peak_ua.max()),
        pulses=_levels(windows.pulses),
        arc_pulses=_levels(windows.arc_pulses),
        charge_nc=_pair(windows.charge_nc),
        arcing_charge_nc=_pair(windows.arcing_charge_nc),
        i2t_pa2s=_pair(windows.i2t_pa2s),
        arcing_i2t_pa2s=_pair(windows.arcing_i2t_pa2s),
        energy_uj=_signed_pair(windows.energy_uj),
        arcing_energy_uj=_signed_pair(windows.arcing_energy_uj),
        frequency_millihz=_mean(windows.frequency_millihz, windows.duration_us),
        voltage_mv=_root_mean_square(windows.voltage_mv, windows.duration_us),
        rms_na=_whole_rms(windows),
        mean_na=_whole_mean(windows),
        h1_na=_root_mean_square(windows.h1_na, windows.duration_us),
        h2_ppm=_ratio(windows, windows.h2_ppm),
        h3_ppm=_ratio(windows, windows.h3_ppm),
        h3_cdeg=_third_phase(windows),
        h5_ppm=_ratio(windows, windows.h5_ppm),
        thd_ppm=_ratio(windows, windows.thd_ppm),
        in_phase_na=_mean(windows.in_phase_na, windows.duration_us),
        quadrature_na=_mean(windows.quadrature_na, windows.duration_us),
        live_us=_live(windows, start_us),
        first_arc_us=_arc_offset(windows, start_us, windows.first_arc_us, first=True),
        last_arc_us=_arc_offset(windows, start_us, windows.last_arc_us, first=False),
        silent_from_us=_silent_from(windows, start_us, duration_us),
        calibration=calibration,
        flags=flag_words(int(np.bitwise_or.reduce(windows.flags))),
    )


def _total(column: Integers) -> int:
    return int(column.sum())


def _pair(columns: Integers) -> tuple[int, int]:
    positive, negative = columns.sum(axis=0).tolist()
    return positive, negative


def _signed_pair(columns: Integers) -> tuple[int, int] | None:
    """Sums of both polarities; None where any window had no voltage."""
    if (columns == ABSENT).any():
        return None
    return _pair(columns)


def _levels(columns: Integers) -> tuple[int, int, int, int, int]:
    assert columns.shape[1] == LEVELS == 5
    a, b, c, d, e = columns.sum(axis=0).tolist()
    return a, b, c, d, e


def _state_cover(windows: WindowTable) -> tuple[int, int, int, int, int, int]:
    cover = [int(windows.duration_us[windows.state == i].sum()) for i in range(len(STATES))]
    a, b, c, d, e, f = cover
    return a, b, c, d, e, f


def _state(windows: WindowTable) -> State:
    """The interval judged as a window is: by its half-cycles, else by its longest cover."""
    arcing = windows.arcing.sum(axis=0)
    judged = windows.halfcycles_judged.sum(axis=0)
    if ((arcing * 2 >= judged) & (arcing > 0)).any():
        return State.ARCING_DENSE
    if arcing.sum() > 0:
        return State.ARCING_SPARSE
    cover = dict(zip(STATES, _state_cover(windows), strict=True))
    return max(SEVERE_ORDER, key=lambda state: cover[state])


def _mean(column: Integers, duration_us: Integers) -> int | None:
    """Mean weighted by cover, to the resolution; None where no window could say."""
    covers, told = _told(column, duration_us)
    weight = sum(covers)
    return None if weight == 0 else round(sum(map(mul, told, covers)) / weight)


def _root_mean_square(column: Integers, duration_us: Integers) -> int | None:
    covers, told = _told(column, duration_us)
    weight = sum(covers)
    if weight == 0:
        return None
    return round(math.sqrt(sum(map(mul, map(mul, told, told), covers)) / weight))


def _told(column: Integers, duration_us: Integers) -> tuple[list[int], list[int]]:
    """(covers, values) of the windows that could say."""
    known = column != ABSENT
    if known.all():
        return duration_us.tolist(), column.tolist()
    return duration_us[known].tolist(), column[known].tolist()


def _told_us(windows: WindowTable) -> int:
    """Cover of the windows that lost no sample."""
    return int((windows.duration_us * (windows.rms_na != ABSENT)).sum())


def _whole_rms(windows: WindowTable) -> int | None:
    """R.m.s. of the whole current, from the sums of its squares."""
    told_us = _told_us(windows)
    return None if told_us == 0 else round(math.sqrt(sum(_pair(windows.i2t_pa2s)) / told_us * 1e12))


def _whole_mean(windows: WindowTable) -> int | None:
    """Signed mean of the current, from its charges."""
    told_us, (positive, negative) = _told_us(windows), _pair(windows.charge_nc)
    return None if told_us == 0 else round((positive - negative) / told_us * 1e6)


def _ratio(windows: WindowTable, ratios: Integers) -> int | None:
    """R.m.s. of a harmonic over r.m.s. of the fundamental, both over the windows that can say."""
    told = (windows.h1_na != ABSENT) & (ratios != ABSENT)
    if not told.any():
        return None
    weight = windows.duration_us[told].astype(np.float64)
    h1 = windows.h1_na[told].astype(np.float64)
    harmonic = h1 * ratios[told] / 1e6
    below = math.fsum((weight * h1 * h1).tolist())
    if below == 0.0:
        return None
    return round(math.sqrt(math.fsum((weight * harmonic * harmonic).tolist()) / below) * 1e6)


def _third_phase(windows: WindowTable) -> int | None:
    """Phase of the third harmonic, each window weighing with its third harmonic."""
    told = (windows.h3_cdeg != ABSENT) & (windows.h3_ppm != ABSENT) & (windows.h1_na != ABSENT)
    if not told.any():
        return None
    size = windows.duration_us[told] * (windows.h1_na[told] * (windows.h3_ppm[told] / 1e6))
    angle = np.radians(windows.h3_cdeg[told] / 100.0)
    cosine, sine = (math.fsum((size * part(angle)).tolist()) for part in (np.cos, np.sin))
    if cosine == 0.0 and sine == 0.0:
        return None
    return round(math.degrees(math.atan2(sine, cosine)) * 100)


def _live(windows: WindowTable, start_us: int) -> int:
    """Offset to the end of the last window with a current."""
    live = np.flatnonzero(windows.live)
    if len(live) == 0:
        return 0
    last = int(live[-1])
    return int(windows.start_us[last] + windows.duration_us[last]) - start_us


def _arc_offset(
    windows: WindowTable, start_us: int, offsets: Integers, *, first: bool
) -> int | None:
    told = np.flatnonzero(offsets != ABSENT)
    if len(told) == 0:
        return None
    index = int(told[0] if first else told[-1])
    return int(windows.start_us[index] + offsets[index]) - start_us


def _silent_from(windows: WindowTable, start_us: int, duration_us: int) -> int | None:
    """Offset from which no current flowed to the end; None where the last window had one."""
    if windows.live[-1]:
        return None
    return min(_live(windows, start_us), duration_us)
