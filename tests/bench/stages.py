"""Where the time of a replay goes, and how far each stage is from merely passing over the samples.

The stages are told by the profiler. It makes short functions look dearer than they are, so these
are shares to look for what is worth work, not times.
"""

from __future__ import annotations

import cProfile
import pstats
import time
from pathlib import Path

import numpy as np

from gateway.replay.run import Request, replay
from tests.bench.recordings import Size, Surface, codes, write
from tests.bench.timing import Figure, figure

STAGES: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("hashing the files", ("feeds.py:_file",)),
    ("scaling to mA and kV", ("segment.py:taken_in",)),
    ("following the mains", ("segment.py:_clocked", "segment.py:_anchored")),
    ("resampling", ("stacking.py:stacked",)),
    ("judging half-cycles", ("arcing.py:judged",)),
    ("peaks of half-cycles", ("measuring.py:_extremes",)),
    ("sums of half-cycles", ("stacking.py:summed", "beside.py:beside")),
    ("harmonics", ("waveform.py:spectral",)),
    ("columns and states", ("measuring.py:measured",)),
    ("rows of minutes", ("aggregation.py:gathered_step",)),
    ("deciding", ("pipeline.py:decided",)),
    ("writing tables", ("tables.py:window_lines", "tables.py:interval_line")),
)
"""Stage and the functions, by file, in which it is spent. `measured` holds those above it that it
calls; they are taken off."""

INSIDE_MEASURED = (
    "resampling",
    "judging half-cycles",
    "peaks of half-cycles",
    "sums of half-cycles",
    "harmonics",
)


def profile(folder: Path, size: Size, surface: Surface = Surface.ARCING) -> list[Figure]:
    """Share of each stage [%], and its time in passes over the samples."""
    path = write(folder, surface, size, seed=5)
    work = Request((path,))
    replay(work, folder / "profile")
    profiler = cProfile.Profile()
    profiler.enable()
    replay(work, folder / "profile")
    profiler.disable()
    times, whole = _stage_times(pstats.Stats(profiler))
    once = memory_pass_s(size)
    shares = [figure("stages", name, "%", [100 * s / whole]) for name, s in times.items()]
    far = [figure("passes", name, "passes", [s / once]) for name, s in times.items()]
    return [*shares, figure("passes", "one pass over the samples", "ms", [1000 * once]), *far]


def _stage_times(stats: pstats.Stats) -> tuple[dict[str, float], float]:
    """(seconds of each stage, of the whole). Raises LookupError where a function is gone."""
    spent: dict[str, float] = {}
    for (file, _, function), (_, _, _, cumulative, _) in stats.stats.items():  # type: ignore[attr-defined]
        key = f"{Path(file).name}:{function}"
        spent[key] = spent.get(key, 0.0) + cumulative
    times = {}
    for name, functions in STAGES:
        gone = [one for one in functions if one not in spent]
        if gone:
            raise LookupError(f"stage {name!r}: no {', '.join(gone)} in the profile; mend STAGES")
        times[name] = sum(spent[one] for one in functions)
    times["columns and states"] -= sum(times[name] for name in INSIDE_MEASURED)
    whole = spent["run.py:replay"]
    return times | {"everything else": whole - sum(times.values())}, whole


def memory_pass_s(size: Size) -> float:
    """Best time of five to bring every sample to float64 once, a block at a time [s]."""
    rows = codes(Surface.QUIET, Size(min(size.seconds, 20), size.currents), seed=6)
    block = 65_536
    scaled = np.empty((block, rows.shape[1]))
    best = float("inf")
    for _ in range(5):
        begun = time.process_time()
        for at in range(0, len(rows), block):
            part = rows[at : at + block]
            np.multiply(part, 0.01, out=scaled[: len(part)])
        best = min(best, time.process_time() - begun)
    return best * size.seconds * size.rate_hz / len(rows)
