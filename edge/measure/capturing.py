"""Which waveforms of a segment are worth keeping: candidates, as raw converter codes.

Knows one segment only, like all of the measure: the first arc of a segment is a candidate for an
onset, its highest arcing current one for a new highest, its first dry minute one for a baseline.
Whether they are is decided by `edge.captures`, which sees the segments in their order. A waveform
begins and ends with whole windows, so that replayed alone it is cut into the same windows again.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from edge.measure.plan import MeasurePlan
from edge.measure.raw_cuts import LEAD_CYCLES, Cutter, Window
from edge.measure.raw_rows import RawRows, Trigger
from edge.measure.triggers import (
    Found,
    Watching,
    after_arc,
    asked,
    at_the_end,
    completed,
    dry_minute,
)
from edge.measure.windows import WindowTable
from edge.samples import SampleBlock, SignalDescription, TimeAnchor


@dataclass(frozen=True, slots=True, eq=False)
class Capturing:
    """Capturing in one open segment. start: its first counter. watching: in plan order."""

    start: int
    anchor: TimeAnchor
    rows: RawRows
    watching: tuple[Watching, ...]


def begun(plan: MeasurePlan, start: int, anchor: TimeAnchor) -> Capturing:
    """At the start of a segment."""
    return Capturing(start, anchor, RawRows(), tuple(Watching() for _ in plan.insulators))


def fed(capturing: Capturing, block: SampleBlock) -> Capturing:
    """With further raw rows."""
    return replace(capturing, rows=capturing.rows.joined_by(block))


def step(
    plan: MeasurePlan,
    description: SignalDescription,
    capturing: Capturing,
    tables: list[WindowTable | None],
    ended: bool,
) -> tuple[Capturing, list[Found]]:
    """Looks at the windows that were measured; ended: the segment is over."""
    found: list[Found] = []
    renewed: list[Watching] = []
    needed = [capturing.rows.stop]
    for insulator, watching, table in zip(plan.insulators, capturing.watching, tables, strict=True):
        cutter = Cutter(
            *(plan, description, insulator), capturing.start, capturing.anchor, capturing.rows
        )
        if table is not None and len(table):
            watching, some = _looked(cutter, watching, table)
            found += some
        if ended:
            found += at_the_end(cutter, watching)
        renewed.append(watching)
        needed.append(_needed_from(watching, capturing.start))
    lead = round(LEAD_CYCLES * description.rate_hz / plan.nominal_hz)
    rows = capturing.rows.without(min(needed) - lead)
    return replace(capturing, rows=rows, watching=tuple(renewed)), found


def _needed_from(watching: Watching, start: int) -> int:
    """Counter of the first window that may still be asked for, seconds ago at most."""
    begins = [one.begin for one in watching.wanted]
    begins += [watching.arc.wanted.begin] if watching.arc else []
    return min([watching.before.start if watching.before else start, *begins])


def _looked(cutter: Cutter, watching: Watching, table: WindowTable) -> tuple[Watching, list[Found]]:
    if _is_dull(watching, table):
        *_, last = _windows(cutter, table.rows(len(table) - 1, len(table)))
        return replace(watching, before=last), []
    found: list[Found] = []
    for window in _windows(cutter, table):
        watching, some = completed(cutter, watching, window)
        watching = asked(cutter, watching, window)
        watching, silent = after_arc(cutter, watching, window)
        watching, dry = dry_minute(cutter, watching, window)
        watching = replace(watching, before=window)
        found += [*some, *silent, *dry]
    return watching, found


def _is_dull(watching: Watching, table: WindowTable) -> bool:
    """Whether no window of a table can matter: the cheap way for most of them."""
    return (
        Trigger.BASELINE in watching.seen
        and not watching.wanted
        and watching.arc is None
        and not table.arcing.any()
        and not table.clipped_halfcycles.any()
    )


def _windows(cutter: Cutter, table: WindowTable) -> Iterator[Window]:
    count = np.rint(table.duration_us * (cutter.description.rate_hz / 1e6)).astype(np.int64)
    columns = (
        table.start,
        table.start + count,
        table.start_us,
        table.duration_us,
        table.arcing.sum(axis=1),
        table.first_arc_us,
        table.last_arc_us,
        table.arcing_peak_ua,
        table.peak_ua,
        table.clipped_halfcycles,
        table.live,
        table.state,
        table.flags,
    )
    for fields in zip(*(column.tolist() for column in columns), strict=True):
        yield Window(*fields)
