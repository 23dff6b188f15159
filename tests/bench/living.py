"""What four channels cost while they are measured live, and how soon a result is there."""

from __future__ import annotations

import statistics
from pathlib import Path

from edge.samples import AnchorSource, SampleBlock, SourceItem, StreamEnd, TimeAnchor
from edge.sense.link_player import play
from tests.bench.recordings import START_UTC_NS, Size, Surface, codes, description
from tests.bench.timing import Figure, alone, figure

PART = "live"


def cost(folder: Path, size: Size, rounds: int, pieces_s: tuple[float, ...]) -> list[Figure]:
    """Share of a core, memory, start-up and lag, for each length of the pieces read at a time."""
    found: list[Figure] = []
    wire = sent(folder, size)
    bytes_a_second = wire.stat().st_size / size.seconds
    for piece_s in pieces_s:
        asked = ["live", str(wire), str(round(bytes_a_second * piece_s))]
        runs = [alone(asked) for _ in range(rounds)]
        label = f"pieces of {1000 * piece_s:.0f} ms"
        shares = [100 * run["cpu_s"] / run["signal_s"] for run in runs]
        found.append(figure(PART, f"share of a core, {label}", "%", shares, "under 1.5"))
        lags = [1000 * statistics.quantiles(run["lags_s"], n=100)[98] for run in runs]
        found.append(figure(PART, f"p99 last sample to result, {label}", "ms", lags, "under 100"))
        peaks = [run["peak_mb"] for run in runs]
        found.append(figure(PART, f"peak memory, {label}", "MB", peaks, "under 75"))
        firsts = [run["ready_s"] + run["first_window_s"] for run in runs]
        found.append(figure(PART, f"start to first window, {label}", "s", firsts, "under 2"))
    return found


def sent(folder: Path, size: Size) -> Path:
    """A recording as the bytes that a sensor unit would send."""
    rows = codes(Surface.ARCING, size, seed=4)
    items: list[SourceItem] = [TimeAnchor(0, START_UTC_NS, 1000, AnchorSource.GNSS)]
    step = size.rate_hz
    items += [SampleBlock(at, rows[at : at + step]) for at in range(0, len(rows), step)]
    items.append(StreamEnd(len(rows), "the recording has ended"))
    path = folder / "wire.bin"
    folder.mkdir(parents=True, exist_ok=True)
    with path.open("wb") as stream:
        play(items, description(size), stream.write)
    return path
