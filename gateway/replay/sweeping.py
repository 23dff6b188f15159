"""A grid of limits on a labelled library: misses and lead time at the same operator load.

Every setting of the grid is decided with on the same rows. Limits are chosen on the tuning part
alone; what they do on the part that was kept back stands beside it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from edge.quantities import INT64_MAX
from gateway.replay.grid import Grid, GridFault, Point, SitePart, path_of
from gateway.replay.kept_tasks import KeptTasks
from gateway.replay.labels import Kind, Label, LabelSet, read_labels
from gateway.replay.scoring import Rules, Verdict, scored
from gateway.replay.spreading import ThisProcess, Workers
from gateway.replay.sweep_plain import (
    recorded_from_plain,
    recorded_to_plain,
    trials_from_plain,
    trials_to_plain,
)
from gateway.replay.sweep_sites import (
    Recorded,
    inputs_sha,
    joined_recordings,
    measured_recordings,
    recorded_tasks,
)
from gateway.replay.sweep_tasks import (
    SiteTask,
    SiteTrials,
    Trials,
    Tried,
    tried_on,
)
from gateway.replay.watched import Span, joined, length_us

TUNING, HELD_OUT = "tuning", "held-out"

POINTS_A_TASK = (4, 16)
"""Least and most points of a task: rows are read once for all of them."""


@dataclass(slots=True)
class Tally:
    """Counts of one thing tried on one part, over all sites. watched_us: of sites together."""

    told: int = 0
    missed: int = 0
    alarms: int = 0
    false: int = 0
    watched_us: int = 0
    leads_us: list[int] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class SiteTold:
    """What a site's part of the sweep rests on. rows: that were decided on, digest: of them."""

    name: str
    held_out: bool
    rows: int
    digest: str
    inputs: str
    labels_sha: str
    broken: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Swept:
    """All tallies, by thing tried and part."""

    grid: Grid
    tallies: Mapping[tuple[Tried, str], Tally]
    settings_sha: Mapping[Point, str]
    sites: tuple[SiteTold, ...]


def swept(
    grid: Grid,
    base: Path,
    workers: Workers | None = None,
    kept: KeptTasks | None = None,
    say: Callable[[str], None] = lambda _: None,
) -> Swept:
    """Tries the whole grid. kept: what a sweep that was stopped had done already.

    Raises GridFault, LabelsFault, SettingsError, HistoryFault, WorkersLost, OSError.
    """
    crew = workers or ThisProcess()
    tallies: dict[tuple[Tried, str], Tally] = {}
    shas: dict[Point, str] = {}
    told = []
    recorded = _recorded(grid, base, crew, kept)
    for part, trials in _trials(grid, base, crew, kept, recorded):
        say(f"{part.name}: {trials.rows} rows")
        labels = _labels(part, base, trials.insulators)
        shas |= trials.shas
        _tally(tallies, grid, part, labels.labels, trials)
        own = recorded.get(part.name, Recorded())
        told.append(
            SiteTold(
                part.name, part.held_out, trials.rows, trials.digest, inputs_sha(own.inputs),
                labels.sha, own.broken,
            )
        )  # fmt: skip
    return Swept(grid, tallies, shas, tuple(told))


def _labels(part: SitePart, base: Path, insulators: tuple[str, ...]) -> LabelSet:
    where = path_of(base, part.labels)
    text = where.read_text(encoding="utf-8-sig")
    return read_labels(text, str(where), insulators, (part.name,))


def _recorded(
    grid: Grid, base: Path, workers: Workers, kept: KeptTasks | None
) -> dict[str, Recorded]:
    """Of each site that is a folder of recordings, what was measured in it."""
    parts = [part for part in grid.sites if part.recordings]
    tasks = [(part, task) for part in parts for task in recorded_tasks(part, base)]
    work = [task for _, task in tasks]
    if kept is None:
        done = workers.results(measured_recordings, work)
    else:
        codec = (recorded_to_plain, recorded_from_plain)
        done = kept.results(workers, measured_recordings, work, codec)
    found: dict[str, list[Recorded]] = {}
    for (part, _), one in zip(tasks, done, strict=True):
        found.setdefault(part.name, []).append(one)
    return {part.name: joined_recordings(part, found[part.name]) for part in parts}


def _trials(
    grid: Grid,
    base: Path,
    workers: Workers,
    kept: KeptTasks | None,
    recorded: Mapping[str, Recorded],
) -> Iterable[tuple[SitePart, SiteTrials]]:
    """Each site with all points tried on it."""
    least, most = POINTS_A_TASK
    share = math.ceil(len(grid.points) / (2 * workers.count)) if workers.count > 1 else most
    size = max(least, min(most, share))
    pieces = [grid.points[at : at + size] for at in range(0, len(grid.points), size)]
    tasks = [
        _site_task(part, base, piece, number == 0, recorded.get(part.name))
        for part in grid.sites
        for number, piece in enumerate(pieces)
    ]
    if kept is None:
        done = workers.results(tried_on, tasks)
    else:
        done = kept.results(workers, tried_on, tasks, (trials_to_plain, trials_from_plain))
    every = iter(done)
    for part in grid.sites:
        yield part, _together(part, [next(every) for _ in pieces], kept)


def _site_task(
    part: SitePart,
    base: Path,
    piece: tuple[Point, ...],
    with_plain: bool,
    recorded: Recorded | None,
) -> SiteTask:
    inputs = "" if recorded is None else inputs_sha(recorded.inputs)
    return SiteTask(part, base.resolve(), piece, with_plain, inputs, recorded)


def _together(part: SitePart, found: list[SiteTrials], kept: KeptTasks | None) -> SiteTrials:
    if len({one.digest for one in found}) > 1:
        if kept is not None:
            kept.forget()
        raise GridFault(
            f"site {part.name}: its rows changed while they were decided on; sweep a copy, or "
            "start the same command again"
        )
    tried: Trials = {}
    shas: dict[Point, str] = {}
    for one in found:
        tried |= one.tried
        shas |= one.shas
    first = found[0]
    return SiteTrials(first.insulators, first.rows, first.digest, first.watched, shas, tried)


def _tally(
    tallies: dict[tuple[Tried, str], Tally],
    grid: Grid,
    site: SitePart,
    labels: Sequence[Label],
    trials: SiteTrials,
) -> None:
    watched = trials.watched
    unknown = [name for name in grid.held if name not in trials.insulators]
    if unknown and len(grid.sites) == 1:
        raise GridFault(
            f"hold_out.insulators {', '.join(unknown)}: unknown; there are "
            f"{', '.join(trials.insulators)}"
        )
    kept = {name: spans for name, spans in watched.items() if name in grid.held}
    rest = {name: spans for name, spans in watched.items() if name not in grid.held}
    whole = (0, INT64_MAX)
    if site.held_out:
        pieces = [(HELD_OUT, watched, whole)]
    else:
        pieces = [
            (TUNING, rest, (0, grid.held_from_us)),
            (HELD_OUT, rest, (grid.held_from_us, INT64_MAX)),
            (HELD_OUT, kept, whole),
        ]
    for part, own, period in pieces:
        if own and period[0] < period[1]:
            _add(tallies, grid, part, own, period, labels, trials.tried)


def _add(
    tallies: dict[tuple[Tried, str], Tally],
    grid: Grid,
    part: str,
    watched: Mapping[str, tuple[Span, ...]],
    period: Span,
    labels: Sequence[Label],
    tried: Trials,
) -> None:
    rules = Rules(
        grid.before_us, grid.after_us, grid.join_us, 500_000, (Kind.ARCING, Kind.FLASHOVER), period
    )
    for one in tried:
        score = scored(tried[one], labels, watched, rules)
        tally = tallies.setdefault((one, part), Tally())
        tally.told += len(score.of(Verdict.TOLD))
        tally.missed += len(score.of(Verdict.MISSED))
        tally.false += len(score.false_alarms)
        tally.alarms += len(score.true_alarms) + len(score.false_alarms) + len(score.left_out)
        tally.leads_us += [
            judged.lead_us for judged in score.of(Verdict.TOLD) if judged.lead_us is not None
        ]
        spans = (span for own in score.watched.values() for span in own)
        tally.watched_us += length_us(joined(spans))
