"""The rows of a labelled library, site by site, whatever it is stored as."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

from edge.decide.evaluation import DecidedRecord
from edge.recording import RecordingError
from edge.records import HealthRow, IntervalRow, WeatherRow
from edge.settings import Settings
from gateway.history.opening import open_history
from gateway.replay.feeds import opened_feed, recordings_in
from gateway.replay.grid import GridFault, SitePart, path_of
from gateway.replay.plain_limits import FURTHER
from gateway.replay.player import played
from gateway.replay.run import plans_for, settings_in
from gateway.replay.stored_columns import stored_weeks
from gateway.replay.stored_units import wanted_rows
from gateway.replay.unit_rows import UnitRows, unit_rows

TASK_BYTES = 64 * 1024 * 1024
"""Recordings are put together until a task has so many bytes to read: seconds of work."""


@dataclass(frozen=True, slots=True)
class RecordedTask:
    """Recordings of a site that are measured together, each on its own. marks: size and time of
    their files, by which a changed one is told."""

    paths: tuple[Path, ...]
    marks: tuple[tuple[int, int], ...]
    settings: Path | None


@dataclass(frozen=True, slots=True)
class Recorded:
    """What recordings gave. names: of insulators in order of sight. broken: recordings passed over,
    with what is wrong. inputs: name and SHA-256 of each file."""

    rows: tuple[DecidedRecord, ...] = ()
    names: tuple[str, ...] = ()
    rate_hz: float | None = None
    broken: tuple[str, ...] = ()
    inputs: tuple[tuple[str, str], ...] = ()


def together(found: Iterable[Recorded]) -> Recorded:
    """All of them as one, in their order."""
    parts = list(found)
    rates = [one.rate_hz for one in parts if one.rate_hz is not None]
    return Recorded(
        tuple(row for one in parts for row in one.rows),
        tuple(dict.fromkeys(name for one in parts for name in one.names)),
        rates[-1] if rates else None,
        tuple(text for one in parts for text in one.broken),
        tuple(pair for one in parts for pair in one.inputs),
    )


@dataclass(frozen=True, slots=True, eq=False)
class SiteRows:
    """A site's rows in stretches that follow one another."""

    part: SitePart
    settings: Settings | None
    insulators: tuple[str, ...]
    stretches: Iterable[UnitRows]
    rate_hz: float | None = None


def recorded_tasks(part: SitePart, base: Path) -> list[RecordedTask]:
    """Of a site that is a folder of recordings. Raises RecordingError where there are none."""
    settings = path_of(base, part.settings) if part.settings else None
    pieces: list[list[Path]] = [[]]
    size = 0
    for path in recordings_in([path_of(base, part.recordings)]):
        if size >= TASK_BYTES:
            pieces.append([])
            size = 0
        pieces[-1].append(path)
        size += sum(one.stat().st_size for one in _files(path))
    return [_task(piece, settings) for piece in pieces]


def _files(path: Path) -> list[Path]:
    return [one for one in (path, path.with_suffix(".dat")) if one.is_file()]


def _task(paths: list[Path], settings: Path | None) -> RecordedTask:
    stats = [one.stat() for path in paths for one in _files(path)]
    marks = tuple((one.st_size, one.st_mtime_ns) for one in stats)
    return RecordedTask(tuple(path.resolve() for path in paths), marks, settings)


def measured_recordings(task: RecordedTask) -> Recorded:
    """Measures each; one that cannot be read is passed over and named. Raises SettingsError."""
    settings = None if task.settings is None else settings_in(task.settings)
    found = []
    for path in task.paths:
        try:
            found.append(_measured(path, settings))
        except RecordingError as fault:
            text = str(fault).replace(f"{path.parent}/", "")
            found.append(Recorded(broken=(text,)))
    return together(found)


def _measured(path: Path, settings: Settings | None) -> Recorded:
    with opened_feed([path]) as feed:
        plans, _ = plans_for(feed, settings)
        rows = tuple(
            record
            for outputs in played(plans, feed.items())
            for record in outputs.records
            if isinstance(record, IntervalRow | WeatherRow | HealthRow)
        )
        inputs = tuple((one.path.name, one.sha256) for one in feed.files())
    names = tuple(one.id for one in plans.measure.insulators)
    return Recorded(rows, names, plans.description.rate_hz, (), inputs)


def joined_recordings(part: SitePart, found: Iterable[Recorded]) -> Recorded:
    """All of a site. Raises GridFault where none could be read."""
    whole = together(found)
    if not whole.names:
        raise GridFault(f"site {part.name}: none of {len(whole.broken)} recordings could be read")
    return whole


@contextmanager
def opened_site(part: SitePart, base: Path, recorded: Recorded | None) -> Iterator[SiteRows]:
    """A site, open while the block runs. Raises GridFault, SettingsError, HistoryFault."""
    settings = settings_in(path_of(base, part.settings)) if part.settings else None
    if recorded is not None:
        stretches = [unit_rows(recorded.rows, recorded.names, FURTHER)]
        yield SiteRows(part, settings, recorded.names, stretches, recorded.rate_hz)
        return
    history = open_history(path_of(base, part.data))
    if part.name not in history.sites():
        known = ", ".join(history.sites()) or "none"
        raise GridFault(f"site {part.name}: {part.data} has no history of it; it has {known}")
    reader = history.reader(part.name)
    try:
        wanted = wanted_rows(reader, part.unit, None, None, FURTHER)
        weeks = (week.rows for week in stored_weeks(reader, wanted))
        yield SiteRows(part, settings, wanted.insulators, weeks)
    finally:
        reader.close()


def inputs_sha(inputs: tuple[tuple[str, str], ...]) -> str:
    """One hash of all."""
    return sha256(repr(sorted(inputs)).encode()).hexdigest()
