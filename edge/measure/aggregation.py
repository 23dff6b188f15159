"""From windows to rows: sums are exact sums of whole numbers, the rest are means of squares.

A window belongs wholly to the minute in which it starts. Ten-second rows are made besides, where
arcing is severe and for the ten seconds after; they are never summed.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from edge.measure.flags import flag_words
from edge.measure.plan import InsulatorPlan
from edge.measure.windows import ABSENT, LEVELS, WindowTable, joined
from edge.quantities import PULSE_LEVELS_MA, STATES, State
from edge.records import IntervalRow, Span

Integers = npt.NDArray[np.int64]

MINUTE_US = 60_000_000
TEN_SECONDS_US = 10_000_000

NEVER_SEVERE = -2
"""No slot follows it: the first slot of 1970 is number 0, where a clock was never set."""

SEVERE_ORDER = (State.DE_ENERGISED, State.WET, State.DRY, State.UNKNOWN)
"""Which state names an interval without arcs where covers are equal."""


@dataclass(frozen=True, slots=True, eq=False)
class Gathered:
    """Windows of one insulator not yet in a minute row, in order of time.

    severe_slot: number of the last ten-second slot that was severe, NEVER_SEVERE before any.
    """

    tables: tuple[WindowTable, ...] = ()
    slots_done_us: int = 0
    severe_slot: int = NEVER_SEVERE


def gathered_step(
    gathered: Gathered,
    insulator: InsulatorPlan,
    table: WindowTable | None,
    ended: bool,
    severe: tuple[int, int],
) -> tuple[Gathered, list[IntervalRow]]:
    """Takes windows in; gives the minute and ten-second rows that are complete.

    ended: no later window can start in the minutes seen so far. severe: level [mA] of an arcing
    half-cycle and number of them that make ten seconds severe.
    """
    tables = [*gathered.tables, *([table] if table is not None else [])]
    if not tables or (table is None and not ended):
        return gathered, []
    if not ended and _in_one_slot(tables):
        return replace(gathered, tables=tuple(tables)), []
    windows = joined(tables)
    # a calibration holds for whole segments, and a segment lies within one ten-minute tick
    calibration = insulator.calibration_at(int(windows.start_us[0])).id
    rows: list[tuple[int, int, IntervalRow]] = []
    gathered, fast = _ten_seconds(gathered, insulator.id, calibration, windows, ended, severe)
    rows += [(row.start_us + row.duration_us, 0, row) for row in fast]
    minutes = windows.start_us // MINUTE_US
    stop = len(windows) if ended else int(np.searchsorted(minutes, minutes[-1]))
    for first, last in _runs(minutes[:stop]):
        row = interval_row(windows.rows(first, last), Span.MINUTE, insulator.id, calibration)
        rows.append((row.start_us + row.duration_us, 1, row))
    rest = windows.rows(stop, len(windows))
    kept = Gathered((rest,) if len(rest) else (), gathered.slots_done_us, gathered.severe_slot)
    rows.sort(key=lambda item: item[:2])
    return kept, [row for _, _, row in rows]


def _in_one_slot(tables: list[WindowTable]) -> bool:
    """Whether the last table stays in the ten seconds of the window before it: none is complete."""
    if len(tables) < 2:
        return False
    before, last = tables[-2].start_us[-1], tables[-1].start_us
    return bool(before // TEN_SECONDS_US == last[0] // TEN_SECONDS_US == last[-1] // TEN_SECONDS_US)


def _runs(numbers: Integers) -> list[tuple[int, int]]:
    """(first, stop) of each run of equal numbers."""
    if len(numbers) == 0:
        return []
    edges = np.flatnonzero(np.diff(numbers)) + 1
    return list(itertools.pairwise([0, *edges.tolist(), len(numbers)]))


def _ten_seconds(
    gathered: Gathered,
    insulator: str,
    calibration: str,
    windows: WindowTable,
    ended: bool,
    severe: tuple[int, int],
) -> tuple[Gathered, list[IntervalRow]]:
    slots = windows.start_us // TEN_SECONDS_US
    first = int(np.searchsorted(windows.start_us, gathered.slots_done_us))
    stop = len(windows) if ended else int(np.searchsorted(slots, slots[-1]))
    level = PULSE_LEVELS_MA.index(severe[0])
    rows: list[IntervalRow] = []
    severe_slot, done_us = gathered.severe_slot, gathered.slots_done_us
    for begin, end in _runs(slots[first:stop]):
        part = windows.rows(first + begin, first + end)
        slot = int(slots[first + begin])
        is_severe = int(part.arc_pulses[:, level].sum()) >= severe[1]
        if is_severe or severe_slot == slot - 1:
            rows.append(interval_row(part, Span.TEN_SECONDS, insulator, calibration))
        severe_slot = slot if is_severe else severe_slot
        done_us = (slot + 1) * TEN_SECONDS_US
    return Gathered(gathered.tables, done_us, severe_slot), rows


def interval_row(windows: WindowTable, span: Span, insulator: str, calibration: str) -> IntervalRow:
    """One row of consecutive windows."""
    start_us = int(windows.start_us[0])
    duration_us = _total(windows.duration_us)
    i2t = _pair(windows.i2t_pa2s)
    charge = _pair(windows.charge_nc)
    arcing = windows.arcing.sum(axis=0)
    known = windows.h1_na != ABSENT
    told_us = windows.duration_us * (windows.rms_na != ABSENT)
    row_us = int(told_us.sum())
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
        charge_nc=charge,
        arcing_charge_nc=_pair(windows.arcing_charge_nc),
        i2t_pa2s=i2t,
        arcing_i2t_pa2s=_pair(windows.arcing_i2t_pa2s),
        energy_uj=_signed_pair(windows.energy_uj),
        arcing_energy_uj=_signed_pair(windows.arcing_energy_uj),
        frequency_millihz=_mean(windows.frequency_millihz, windows.duration_us),
        voltage_mv=_root_mean_square(windows.voltage_mv, windows.duration_us),
        rms_na=None if row_us == 0 else round(math.sqrt(sum(i2t) / row_us * 1e12)),
        mean_na=None if row_us == 0 else round((charge[0] - charge[1]) / row_us * 1e6),
        h1_na=_root_mean_square(windows.h1_na, windows.duration_us),
        h2_ppm=_ratio(windows, windows.h2_ppm, known),
        h3_ppm=_ratio(windows, windows.h3_ppm, known),
        h3_cdeg=_third_phase(windows),
        h5_ppm=_ratio(windows, windows.h5_ppm, known),
        thd_ppm=_ratio(windows, windows.thd_ppm, known),
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
    known = column != ABSENT
    weight = int(duration_us[known].sum())
    if weight == 0:
        return None
    return round(
        sum(
            int(c) * int(d)
            for c, d in zip(column[known].tolist(), duration_us[known].tolist(), strict=True)
        )
        / weight
    )


def _root_mean_square(column: Integers, duration_us: Integers) -> int | None:
    known = column != ABSENT
    weight = int(duration_us[known].sum())
    if weight == 0:
        return None
    total = sum(
        int(c) * int(c) * int(d)
        for c, d in zip(column[known].tolist(), duration_us[known].tolist(), strict=True)
    )
    return round(math.sqrt(total / weight))


def _ratio(windows: WindowTable, ratios: Integers, known: npt.NDArray[np.bool_]) -> int | None:
    """R.m.s. of a harmonic over r.m.s. of the fundamental, both over the windows that can say."""
    told = known & (ratios != ABSENT)
    if not told.any():
        return None
    weight = windows.duration_us[told].astype(np.float64)
    h1 = windows.h1_na[told].astype(np.float64)
    harmonic = h1 * ratios[told] / 1e6
    below = math.fsum(weight * h1 * h1)
    if below == 0.0:
        return None
    return round(math.sqrt(math.fsum(weight * harmonic * harmonic) / below) * 1e6)


def _third_phase(windows: WindowTable) -> int | None:
    """Phase of the third harmonic, each window weighing with its third harmonic."""
    told = (windows.h3_cdeg != ABSENT) & (windows.h3_ppm != ABSENT) & (windows.h1_na != ABSENT)
    if not told.any():
        return None
    size = windows.duration_us[told] * (windows.h1_na[told] * (windows.h3_ppm[told] / 1e6))
    angle = np.radians(windows.h3_cdeg[told] / 100.0)
    cosine, sine = math.fsum(size * np.cos(angle)), math.fsum(size * np.sin(angle))
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
