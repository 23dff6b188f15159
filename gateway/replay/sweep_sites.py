"""The rows of a labelled library, site by site, whatever it is stored as."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

from edge.decide.evaluation import DecidedRecord
from edge.recording import RecordingError
from edge.records import HealthRow, IntervalRow, WeatherRow
from edge.settings import Settings
from gateway.history.sqlite_store import SqliteHistory
from gateway.replay.feeds import opened_feed, recordings_in
from gateway.replay.grid import GridFault, SitePart, path_of
from gateway.replay.plain_limits import FURTHER
from gateway.replay.player import played
from gateway.replay.run import plans_for, settings_in
from gateway.replay.stored_columns import stored_weeks
from gateway.replay.stored_units import wanted_rows
from gateway.replay.unit_rows import UnitRows, unit_rows


@dataclass(frozen=True, slots=True, eq=False)
class SiteRows:
    """A site's rows in stretches that follow one another. broken: recordings passed over, with what
    is wrong. inputs: name and SHA-256 of each recording."""

    part: SitePart
    settings: Settings | None
    insulators: tuple[str, ...]
    stretches: Iterator[UnitRows]
    rate_hz: float | None = None
    broken: tuple[str, ...] = ()
    inputs: tuple[tuple[str, str], ...] = ()


@contextmanager
def opened_site(part: SitePart, base: Path) -> Iterator[SiteRows]:
    """A site, open while the block runs. Raises GridFault, SettingsError, HistoryFault."""
    settings = settings_in(path_of(base, part.settings)) if part.settings else None
    if part.recordings:
        yield _recorded(part, settings, path_of(base, part.recordings))
        return
    history = SqliteHistory(path_of(base, part.data))
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


def _recorded(part: SitePart, settings: Settings | None, folder: Path) -> SiteRows:
    """Each recording is measured on its own; one that cannot be read is passed over and named."""
    held: list[DecidedRecord] = []
    names: list[str] = []
    broken: list[str] = []
    inputs: list[tuple[str, str]] = []
    rate_hz = None
    for path in recordings_in([folder]):
        try:
            with opened_feed([path]) as feed:
                plans, _ = plans_for(feed, settings)
                rows = [
                    record
                    for outputs in played(plans, feed.items())
                    for record in outputs.records
                    if isinstance(record, IntervalRow | WeatherRow | HealthRow)
                ]
                inputs += [(one.path.name, one.sha256) for one in feed.files()]
        except RecordingError as fault:
            broken.append(str(fault))
            continue
        held += rows
        names += [one.id for one in plans.measure.insulators if one.id not in names]
        rate_hz = plans.description.rate_hz
    if not names:
        raise GridFault(f"site {part.name}: none of {len(broken)} recordings could be read")
    stretches = iter([unit_rows(held, names, FURTHER)])
    return SiteRows(part, settings, tuple(names), stretches, rate_hz, tuple(broken), tuple(inputs))


def inputs_sha(inputs: tuple[tuple[str, str], ...]) -> str:
    """One hash of all."""
    return sha256(repr(sorted(inputs)).encode()).hexdigest()
