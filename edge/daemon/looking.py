"""A look at what a source delivers now: some seconds of signal, measured and not kept."""

from __future__ import annotations

import threading
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from edge.clock import Clock
from edge.daemon.pacing import limited
from edge.daemon.sources import Life, Source, open_source, stored
from edge.measure import stepping
from edge.measure.windows import WindowTable, joined
from edge.samples import SampleBlock, SlowReading, StreamEnd
from edge.sense.link import HELLO_WAIT_S
from edge.sense.recordings import open_recordings
from edge.settings import Settings, measure_plan


@dataclass(frozen=True, slots=True, eq=False)
class Look:
    """windows: of each insulator. readings: the newest of each slow one. rows: samples seen.

    start_us: UTC of the first window, 0 without. end: why the signal stopped.
    """

    windows: Mapping[str, WindowTable]
    readings: Mapping[str, int]
    rows: int
    start_us: int
    end: str


def opened(settings: Settings, base: Path, clock: Clock, recording: Path | None = None) -> Source:
    """The unit's source, or a recording in its place. Raises what opening raises."""
    life = Life(threading.Event())
    if recording is not None:
        return stored(open_recordings(recording), clock, life)
    return open_source(settings, base, clock, life, HELLO_WAIT_S)


def look(settings: Settings, source: Source, begin_us: int, signal_s: float | None) -> Look:
    """So many seconds of the signal, or all of it. Raises SettingsError for a missing channel."""
    plan = measure_plan(settings, source.description, source.flags)
    state = stepping.initial(plan, source.description)
    tables: dict[str, list[WindowTable]] = {one.id: [] for one in plan.insulators}
    readings: dict[str, int] = {}
    rows, end = 0, "the source ended"
    for item in limited(source.items(begin_us), source.description.rate_hz, signal_s):
        if isinstance(item, SampleBlock):
            rows += len(item.samples)
        elif isinstance(item, SlowReading):
            readings |= item.readings
        state, found = stepping.step(state, item)
        for name, table in found.windows:
            tables[name].append(table)
        if isinstance(item, StreamEnd):
            end = item.reason
            break
    windows = {name: joined(parts) for name, parts in tables.items() if parts}
    starts = [int(table.start_us[0]) for table in windows.values() if len(table)]
    return Look(windows, readings, rows, min(starts, default=0), end)
