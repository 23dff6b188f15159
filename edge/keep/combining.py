"""Several interval rows of one insulator into one, with every sum preserved.

Additive quantities (`edge.quantities`: charge, i-squared-t, energy, counts, covers) are integers
and add exactly, so the same total comes out whatever was put together first. Peaks are the highest.
The rest cannot be exact and follows one rule each, in whole numbers, so that every machine agrees:

- r.m.s. values (`rms_na`, `h1_na`, `voltage_mv`): root of the mean square, weighted with duration;
- signed and plain means (`mean_na`, `in_phase_na`, `quadrature_na`, `frequency_millihz`): mean
  weighted with duration;
- ratios to the fundamental (`h2_ppm`, `h3_ppm`, `h5_ppm`, `thd_ppm`): root of the mean square of
  the harmonic itself (ratio times h1) over that of the fundamental;
- `h3_cdeg`: that of the row with the most third harmonic (amplitude squared times duration), the
  earliest where equal; phases are not averaged.

A row that does not say a value does not weigh in it; None where no row says it. A sum that any row
does not say cannot be said. Offsets are from the start of the first row; where rows leave a hole
between them, the whole is flagged as one with a gap. All roots and quotients are rounded to the
nearest unit of the declared resolution, halves upwards.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import pairwise
from math import isqrt

from edge.quantities import STATES, Flag, State
from edge.records import IntervalRow, Levels, Pair, SignedPair, Span

Rows = Sequence[IntervalRow]

CONTIGUOUS_US = 10_000
"""Rows further apart than this have a hole between them: half a mains cycle, for windows are cut by
the mains clock and durations are rounded."""


def combine(rows: Rows) -> IntervalRow:
    """One row over all of them; they are of one insulator, in order of time, at least one."""
    assert rows and len({row.insulator for row in rows}) == 1
    h3_most = max(rows, key=_h3_weight)
    state_us = tuple(sum(row.state_us[at] for row in rows) for at in range(len(STATES)))
    live = [start + row.live_us for start, row in _offsets(rows) if row.live_us]
    arcs = [
        start + row.first_arc_us for start, row in _offsets(rows) if row.first_arc_us is not None
    ]
    last = [start + row.last_arc_us for start, row in _offsets(rows) if row.last_arc_us is not None]
    return IntervalRow(
        span=Span.MERGED,
        insulator=rows[0].insulator,
        start_counter=rows[0].start_counter,
        start_us=rows[0].start_us,
        duration_us=_sum(rows, lambda row: row.duration_us),
        windows=_sum(rows, lambda row: row.windows),
        state=_state(rows, state_us),
        state_us=(*state_us[:3], *state_us[3:]),  # type: ignore[arg-type]
        halfcycles=_sum(rows, lambda row: row.halfcycles),
        arcing_halfcycles=_sum(rows, lambda row: row.arcing_halfcycles),
        arcing_positive=_sum(rows, lambda row: row.arcing_positive),
        arcing_negative=_sum(rows, lambda row: row.arcing_negative),
        doubtful_halfcycles=_sum(rows, lambda row: row.doubtful_halfcycles),
        spike_halfcycles=_sum(rows, lambda row: row.spike_halfcycles),
        clipped_halfcycles=_sum(rows, lambda row: row.clipped_halfcycles),
        peak_ua=max(row.peak_ua for row in rows),
        arcing_peak_ua=max(row.arcing_peak_ua for row in rows),
        pulses=_levels([row.pulses for row in rows]),
        arc_pulses=_levels([row.arc_pulses for row in rows]),
        charge_nc=_pair([row.charge_nc for row in rows]),
        arcing_charge_nc=_pair([row.arcing_charge_nc for row in rows]),
        i2t_pa2s=_pair([row.i2t_pa2s for row in rows]),
        arcing_i2t_pa2s=_pair([row.arcing_i2t_pa2s for row in rows]),
        energy_uj=_said_pair([row.energy_uj for row in rows]),
        arcing_energy_uj=_said_pair([row.arcing_energy_uj for row in rows]),
        frequency_millihz=_mean(rows, lambda row: row.frequency_millihz),
        voltage_mv=_root_mean_square(rows, lambda row: row.voltage_mv),
        rms_na=_root_mean_square(rows, lambda row: row.rms_na),
        mean_na=_mean(rows, lambda row: row.mean_na),
        h1_na=_root_mean_square(rows, lambda row: row.h1_na),
        h2_ppm=_ratio(rows, lambda row: row.h2_ppm),
        h3_ppm=_ratio(rows, lambda row: row.h3_ppm),
        h3_cdeg=h3_most.h3_cdeg,
        h5_ppm=_ratio(rows, lambda row: row.h5_ppm),
        thd_ppm=_ratio(rows, lambda row: row.thd_ppm),
        in_phase_na=_mean(rows, lambda row: row.in_phase_na),
        quadrature_na=_mean(rows, lambda row: row.quadrature_na),
        live_us=max(live, default=0),
        first_arc_us=arcs[0] if arcs else None,
        last_arc_us=last[-1] if last else None,
        silent_from_us=_silent_from(rows),
        calibration=rows[0].calibration,
        flags=_flags(rows),
    )


def _sum(rows: Rows, of: Callable[[IntervalRow], int]) -> int:
    return sum(of(row) for row in rows)


def _offsets(rows: Rows) -> Iterator[tuple[int, IntervalRow]]:
    """Each row with its offset from the first one [us]: the cover before it, and any holes."""
    cover = 0
    for row in rows:
        yield max(cover, row.start_us - rows[0].start_us), row
        cover += row.duration_us


def _flags(rows: Rows) -> tuple[str, ...]:
    flags = {flag for row in rows for flag in row.flags}
    holes = (row.start_us - last.start_us - last.duration_us for last, row in pairwise(rows))
    if any(hole > CONTIGUOUS_US for hole in holes):
        flags.add(Flag.GAP.value)
    return tuple(sorted(flags))


def _state(rows: Rows, state_us: Sequence[int]) -> State:
    """Judged as a window is: by arcing half-cycles, else the state with the most cover."""
    arcing = _sum(rows, lambda row: row.arcing_halfcycles)
    if arcing:
        of_both = _sum(rows, lambda row: row.halfcycles)
        most = max(_sum(rows, lambda r: r.arcing_positive), _sum(rows, lambda r: r.arcing_negative))
        return State.ARCING_DENSE if 4 * most >= of_both else State.ARCING_SPARSE
    return STATES[max(range(len(STATES)), key=lambda at: state_us[at])]


def _silent_from(rows: Rows) -> int | None:
    """Offset at which the current vanished and stayed away: over the silent rows at the end."""
    found: int | None = None
    for start, row in reversed(list(_offsets(rows))):
        if row.silent_from_us is None:
            break
        found = start + row.silent_from_us
        if row.silent_from_us > 0:
            break
    return found


def _levels(counts: Sequence[Levels]) -> Levels:
    a, b, c, d, e = (sum(level) for level in zip(*counts, strict=True))
    return a, b, c, d, e


def _pair(pairs: Sequence[Pair]) -> Pair:
    return sum(pair[0] for pair in pairs), sum(pair[1] for pair in pairs)


def _said_pair(pairs: Sequence[SignedPair | None]) -> SignedPair | None:
    said = [pair for pair in pairs if pair is not None]
    return _pair(said) if len(said) == len(pairs) else None


def _said(rows: Rows, of: Callable[[IntervalRow], int | None]) -> list[tuple[int, int]]:
    """(weight, units) of the rows that say it; equal weights where none has a duration."""
    said = [(row.duration_us, units) for row in rows if (units := of(row)) is not None]
    return said if any(weight for weight, _ in said) else [(1, units) for _, units in said]


def _mean(rows: Rows, of: Callable[[IntervalRow], int | None]) -> int | None:
    said = _said(rows, of)
    if not said:
        return None
    return _quotient(sum(w * units for w, units in said), sum(w for w, _ in said))


def _root_mean_square(rows: Rows, of: Callable[[IntervalRow], int | None]) -> int | None:
    said = _said(rows, of)
    if not said:
        return None
    return _root(sum(w * units * units for w, units in said), sum(w for w, _ in said))


def _ratio(rows: Rows, of: Callable[[IntervalRow], int | None]) -> int | None:
    said = [
        (row.duration_us, row.h1_na, ppm)
        for row in rows
        if (ppm := of(row)) is not None and row.h1_na is not None
    ]
    fundamental = sum(w * h1 * h1 for w, h1, _ in said)
    if not fundamental:
        return None
    return _root(sum(w * (h1 * ppm) ** 2 for w, h1, ppm in said), fundamental)


def _h3_weight(row: IntervalRow) -> int:
    if row.h3_cdeg is None or row.h1_na is None or row.h3_ppm is None:
        return -1
    return row.duration_us * (row.h1_na * row.h3_ppm) ** 2


def _quotient(above: int, below: int) -> int:
    return (2 * above + below) // (2 * below)


def _root(above: int, below: int) -> int:
    """The root of a quotient to the nearest whole, halves upwards: floor(2x) + 1, halved."""
    return (isqrt(4 * above // below) + 1) // 2
