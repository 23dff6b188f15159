"""The present as it is told: what is watched, what is old, what is in. Pure, from the summary.

Old is never shown as present: a row that is older than the limit leaves its insulator unwatched.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from edge.quantities import Flag, State
from edge.records import Condition, ConditionChange, HealthRow, IntervalRow, WeatherRow
from gateway.console.summary import InsulatorNow, SiteNow, Summary, UnitNow
from gateway.settings import Site

BLINDING_FLAGS = frozenset({Flag.SENSOR_FAULT, Flag.MISSING, Flag.NOT_FINITE})
"""With one of these a row says nothing about its insulator."""


class Liveliness(StrEnum):
    """How a unit stands with the gateway, by the gateway's own clock."""

    LIVE = "live"
    CATCHING_UP = "catching-up"  # it speaks, but of the past
    SILENT = "silent"
    NEVER_HEARD = "never-heard"


@dataclass(frozen=True, slots=True)
class InsulatorTold:
    """watched: a fresh row of a sound sensor is there. row: None where none ever came."""

    site: str
    insulator: str
    unit: str
    watched: bool
    age_us: int | None
    row: IntervalRow | None


@dataclass(frozen=True, slots=True)
class UnitTold:
    """watched: insulators of `insulators` with a fresh row. Ages are None where nothing came."""

    site: str
    unit: str
    liveliness: Liveliness
    link: str
    heard_age_us: int | None
    data_age_us: int | None
    watched: int
    insulators: int
    health: HealthRow | None


@dataclass(frozen=True, slots=True)
class ConditionTold:
    """stale: its unit is not live, so the condition is the last one known."""

    site: str
    unit: str
    epoch: str
    seq: int
    stale: bool
    change: ConditionChange


@dataclass(frozen=True, slots=True)
class SiteTold:
    """Counts of a site. alarms_in, alarms_unknown: conditions that are in, or cannot be said."""

    site: str
    title: str
    units: int
    units_live: int
    insulators: int
    watched: int
    alarms_in: int
    alarms_unknown: int
    weather: WeatherRow | None


@dataclass(frozen=True, slots=True)
class Picture:
    """Everything that is told of the present. now_us: when."""

    now_us: int
    sites: tuple[SiteTold, ...]
    units: tuple[UnitTold, ...]
    insulators: tuple[InsulatorTold, ...]
    conditions: tuple[ConditionTold, ...]


def picture(
    summary: Summary, register: Mapping[str, Site], now_us: int, stale_after_us: int
) -> Picture:
    """The present of all registered sites at `now_us`."""
    told = [
        _site(name, site, summary.sites.get(name, SiteNow()), now_us, stale_after_us)
        for name, site in sorted(register.items())
    ]
    return Picture(
        now_us,
        tuple(one.sites[0] for one in told),
        tuple(unit for one in told for unit in one.units),
        tuple(insulator for one in told for insulator in one.insulators),
        tuple(condition for one in told for condition in one.conditions),
    )


def _site(name: str, site: Site, now: SiteNow, now_us: int, stale_us: int) -> Picture:
    insulators = _insulators(name, site, now, now_us, stale_us)
    registered = {f"{name}.{monitor}" for monitor in site.units}
    units = tuple(
        _unit(name, unit, now.units.get(unit, UnitNow()), insulators, now_us, stale_us)
        for unit in sorted(registered | set(now.units))
    )
    live = {unit.unit for unit in units if unit.liveliness is Liveliness.LIVE}
    conditions = tuple(
        ConditionTold(name, unit, one.key.epoch, one.seq, unit not in live, one.change)
        for (unit, _, _), one in sorted(now.conditions.items())
    )
    found = [one.change.condition for one in conditions]
    counts = SiteTold(
        site=name,
        title=site.title,
        units=len(units),
        units_live=len(live),
        insulators=len(insulators),
        watched=sum(one.watched for one in insulators),
        alarms_in=found.count(Condition.IN),
        alarms_unknown=found.count(Condition.UNKNOWN),
        weather=now.weather,
    )
    return Picture(now_us, (counts,), units, insulators, conditions)


def _insulators(
    name: str, site: Site, now: SiteNow, now_us: int, stale_us: int
) -> tuple[InsulatorTold, ...]:
    owner = {
        insulator: f"{name}.{monitor}"
        for monitor, unit in site.units.items()
        for insulator in unit.insulators
    }
    owner.update({insulator: one.unit for insulator, one in now.insulators.items()})
    return tuple(
        _insulator(name, insulator, unit, now.insulators.get(insulator), now_us, stale_us)
        for insulator, unit in sorted(owner.items())
    )


def _insulator(
    site: str, insulator: str, unit: str, now: InsulatorNow | None, now_us: int, stale_us: int
) -> InsulatorTold:
    if now is None:
        return InsulatorTold(site, insulator, unit, False, None, None)
    row = now.row
    age_us = max(0, now_us - row.start_us - row.duration_us)
    sound = row.state is not State.UNKNOWN and not BLINDING_FLAGS & set(row.flags)
    return InsulatorTold(site, insulator, unit, sound and age_us <= stale_us, age_us, row)


def _unit(
    site: str,
    unit: str,
    now: UnitNow,
    insulators: tuple[InsulatorTold, ...],
    now_us: int,
    stale_us: int,
) -> UnitTold:
    heard_age_us = max(0, now_us - now.heard_us) if now.heard_us else None
    data_age_us = max(0, now_us - now.newest_us) if now.newest_us else None
    own = [one for one in insulators if one.unit == unit]
    return UnitTold(
        site=site,
        unit=unit,
        liveliness=_liveliness(heard_age_us, data_age_us, stale_us),
        link=now.link,
        heard_age_us=heard_age_us,
        data_age_us=data_age_us,
        watched=sum(one.watched for one in own),
        insulators=len(own),
        health=now.health,
    )


def _liveliness(heard_us: int | None, data_us: int | None, stale_us: int) -> Liveliness:
    if heard_us is None:
        return Liveliness.NEVER_HEARD
    if heard_us > stale_us:
        return Liveliness.SILENT
    old = data_us is None or data_us > stale_us
    return Liveliness.CATCHING_UP if old else Liveliness.LIVE
