"""What the gateway knows now, in memory: a pure fold over what was committed.

The pages and the API read this instead of the history, so a reader costs the history nothing. The
same fold over the newest records of the history gives it back after a restart.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from edge.records import ConditionChange, HealthRow, IntervalRow, Record, WeatherRow
from gateway.history.store import Commit, Of, StreamKey

REFUSALS_NOTED_MAX = 1_000_000_000
"""Counters stop here."""


@dataclass(frozen=True, slots=True)
class InsulatorNow:
    """The last row of an insulator, and the unit that sent it."""

    unit: str
    row: IntervalRow


@dataclass(frozen=True, slots=True)
class ConditionNow:
    """The last change of an alarm's condition. (unit, epoch, seq) name the occurrence."""

    key: StreamKey
    seq: int
    change: ConditionChange


@dataclass(frozen=True, slots=True)
class UnitNow:
    """What is known of a unit.

    heard_us: when its last line was committed, by the gateway's clock. newest_us: end of its newest
    row, by the unit's clock. link: what its state topic says, a hint only.
    """

    heard_us: int = 0
    newest_us: int = 0
    link: str = "unknown"
    health: HealthRow | None = None


Subject = tuple[str, str, str]
"""(unit, alarm, subject) of a condition."""


@dataclass(frozen=True, slots=True)
class SiteNow:
    """What is known of a site."""

    units: Mapping[str, UnitNow] = field(default_factory=dict)
    insulators: Mapping[str, InsulatorNow] = field(default_factory=dict)
    conditions: Mapping[Subject, ConditionNow] = field(default_factory=dict)
    weather: WeatherRow | None = None


@dataclass(frozen=True, slots=True)
class Summary:
    """What is known of all sites. refused, noticed: since the gateway started."""

    sites: Mapping[str, SiteNow] = field(default_factory=dict)
    refused: int = 0
    noticed: int = 0


def fold(summary: Summary, site: str, commit: Commit) -> Summary:
    """The summary after a commit."""
    refused = min(summary.refused + len(commit.refused), REFUSALS_NOTED_MAX)
    events = sum(event.count for event in commit.events)
    counted = replace(
        summary, refused=refused, noticed=min(summary.noticed + events, REFUSALS_NOTED_MAX)
    )
    records = (Of(one.key, one.seq, one.record) for one in commit.entries if one.record is not None)
    return fold_records(counted, site, records, commit.at_us) if commit.entries else counted


def fold_records(
    summary: Summary, site: str, records: Iterable[Of[Record]], heard_us: int
) -> Summary:
    """The summary after records of a site, in their order."""
    now = summary.sites.get(site, SiteNow())
    units, insulators = dict(now.units), dict(now.insulators)
    conditions, weather = dict(now.conditions), now.weather
    for one in records:
        unit, record = one.key.unit, one.record
        units[unit] = _unit_after(units.get(unit, UnitNow()), record, heard_us)
        if isinstance(record, IntervalRow):
            insulators[record.insulator] = InsulatorNow(unit, record)
        elif isinstance(record, ConditionChange):
            changed = ConditionNow(one.key, one.seq, record)
            conditions[unit, record.alarm, record.subject] = changed
        elif isinstance(record, WeatherRow):
            weather = record
    after = SiteNow(units, insulators, conditions, weather)
    return replace(summary, sites={**summary.sites, site: after})


def _unit_after(unit: UnitNow, record: Record, heard_us: int) -> UnitNow:
    newest_us = unit.newest_us
    if isinstance(record, IntervalRow | WeatherRow | HealthRow):
        newest_us = max(newest_us, record.start_us + record.duration_us)
    health = record if isinstance(record, HealthRow) else unit.health
    return UnitNow(heard_us or unit.heard_us, newest_us, unit.link, health)


def with_link(summary: Summary, site: str, unit: str, link: str) -> Summary:
    """The summary after a message on a unit's state topic."""
    now = summary.sites.get(site, SiteNow())
    units = {**now.units, unit: replace(now.units.get(unit, UnitNow()), link=link)}
    return replace(summary, sites={**summary.sites, site: replace(now, units=units)})
