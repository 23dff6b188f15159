"""Dry minutes put together into longer rows, to spare the flash and the link.

Never across a ten-minute UTC tick; only while every condition of the unit is out, no delay runs and
nothing about the rows changes; ended at once when the surface wets. So what a condition is decided
on always travels as it was decided on. The state holds the minutes themselves, at most ten for each
insulator, and goes into the durable file with the commit that held them back.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from edge.keep.combining import CONTIGUOUS_US, combine
from edge.quantities import STATES, State
from edge.records import IntervalRow, Span
from edge.wire import body_line, read_record

MINUTE_US = 60_000_000
TICK_US = 600_000_000
"""A merged row never crosses a multiple of this of UTC."""

_DRY_AT = STATES.index(State.DRY)


@dataclass(frozen=True, slots=True)
class Merging:
    """Minutes held back: for each insulator a run that may still grow, in order of arrival."""

    runs: tuple[tuple[IntervalRow, ...], ...] = ()


def step(state: Merging, row: IntervalRow, quiet: bool) -> tuple[Merging, tuple[IntervalRow, ...]]:
    """Take one row in; what is to be kept comes out, each insulator's rows in order of time.

    quiet: every condition of the unit is out and no delay runs.
    """
    others = tuple(run for run in state.runs if run[0].insulator != row.insulator)
    run = next((run for run in state.runs if run[0].insulator == row.insulator), ())
    if not quiet:
        done = tuple(_merged(each) for each in state.runs)
        return Merging(), (*done, row)
    if not _is_dry_minute(row):
        return Merging(others), (*((_merged(run),) if run else ()), row)
    if run and not _continues(run[-1], row):
        ended: tuple[IntervalRow, ...] = (_merged(run),)
        run = (row,)
    else:
        ended = ()
        run = (*run, row)
    if _ends_tick(row):
        return Merging(others), (*ended, _merged(run))
    return Merging((*others, run)), ended


def flush(state: Merging) -> tuple[Merging, tuple[IntervalRow, ...]]:
    """Everything held back comes out: at the end of a recording, at a gap, before stopping."""
    return Merging(), tuple(_merged(run) for run in state.runs)


def as_plain(state: Merging) -> list[list[str]]:
    """The state as JSON values, for the durable file."""
    return [[body_line(row).decode() for row in run] for run in state.runs]


def from_plain(plain: Sequence[Sequence[str]]) -> Merging:
    """The state that `as_plain` wrote."""
    return Merging(tuple(tuple(_row(line) for line in run) for run in plain))


def _row(line: str) -> IntervalRow:
    record = read_record(line.encode())
    assert isinstance(record, IntervalRow)
    return record


def _merged(run: tuple[IntervalRow, ...]) -> IntervalRow:
    """A minute alone stays a minute."""
    return run[0] if len(run) == 1 else combine(run)


def _is_dry_minute(row: IntervalRow) -> bool:
    """A minute in which the surface was dry throughout, current present, nothing doubtful."""
    return (
        row.span is Span.MINUTE
        and row.state is State.DRY
        and sum(row.state_us) == row.state_us[_DRY_AT]
        and not row.arcing_halfcycles
        and not row.doubtful_halfcycles
        and row.silent_from_us is None
    )


def _continues(last: IntervalRow, row: IntervalRow) -> bool:
    """Whether a row follows on the last within its tick with nothing about it changed."""
    gap_us = row.start_us - (last.start_us + last.duration_us)
    return (
        abs(gap_us) <= CONTIGUOUS_US
        and row.start_us // TICK_US == last.start_us // TICK_US
        and row.flags == last.flags
        and row.calibration == last.calibration
        and _unsaid(row) == _unsaid(last)
    )


def _unsaid(row: IntervalRow) -> tuple[bool, ...]:
    """Which values could not be said; what can be said must not change within a merged row."""
    optional = (row.energy_uj, row.arcing_energy_uj, row.frequency_millihz, row.voltage_mv)
    phase = (row.in_phase_na, row.quadrature_na, row.rms_na, row.h1_na)
    return tuple(found is None for found in (*optional, *phase))


def _ends_tick(row: IntervalRow) -> bool:
    """Whether it is the last minute of its tick: nothing can follow, so nothing need wait."""
    return (row.start_us % TICK_US) // MINUTE_US == TICK_US // MINUTE_US - 1
