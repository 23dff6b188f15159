"""A site with some points of a grid: one task of a sweep."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path

from edge.decide.alarm_table import DEFAULT_ALARMS
from edge.decide.binding import DecisionPlan, WatchedInsulator, bind
from edge.decide.definitions import Adjustment, Alarm, adjusted
from edge.decide.state import initial
from edge.records import ConditionChange
from edge.settings import Settings, decision_plan
from gateway.replay.grid import DELAYS, Point, SitePart
from gateway.replay.occurrences import Occurrence, occurrences
from gateway.replay.passing_over import decided_over
from gateway.replay.plain_limits import KINDS, LIMITS_UA, OFF_US, crossings, occurrences_of
from gateway.replay.rows_run import digest_of, watched_spans
from gateway.replay.sweep_sites import Recorded, SiteRows, opened_site
from gateway.replay.watched import Span, joined

OURS = "alarms"


@dataclass(frozen=True, slots=True, order=True)
class Tried:
    """One thing that was tried. detector: OURS, or a kind of plain limit. point: its settings."""

    detector: str
    point: Point


def plain_trial(kind: str, limit_ua: int) -> Tried:
    """A plain limit as a thing tried."""
    return Tried(kind, ((f"{kind}_ua", limit_ua),))


Trials = dict[Tried, list[Occurrence]]


@dataclass(frozen=True, slots=True)
class SiteTask:
    """points: to be tried. with_plain: the plain limits as well. recorded: rows of a site that is a
    folder of recordings, which are told by their inputs."""

    part: SitePart
    base: Path
    points: tuple[Point, ...]
    with_plain: bool
    inputs: str
    recorded: Recorded | None = field(repr=False)


@dataclass(frozen=True, slots=True)
class SiteTrials:
    """What a task gave. digest: of the rows, which all tasks of a site must have in common.
    watched: when each insulator was. shas: of the settings at each point."""

    insulators: tuple[str, ...]
    rows: int
    digest: str
    watched: Mapping[str, tuple[Span, ...]]
    shas: Mapping[Point, str]
    tried: Trials


def tried_on(task: SiteTask) -> SiteTrials:
    """Decides on all rows with each point. Raises GridFault, SettingsError, DefinitionFault,
    HistoryFault."""
    with opened_site(task.part, task.base, task.recorded) as site:
        plans = {point: plan_at(site, point) for point in task.points}
        return _decided(site, plans, task.with_plain)


def _decided(site: SiteRows, plans: Mapping[Point, DecisionPlan], with_plain: bool) -> SiteTrials:
    states = {point: initial(plan) for point, plan in plans.items()}
    changes: dict[Point, list[ConditionChange]] = {point: [] for point in plans}
    spans: dict[tuple[str, int, str], list[Span]] = {}
    watched: dict[str, tuple[Span, ...]] = dict.fromkeys(site.insulators, ())
    rows, digest = 0, ""
    for unit in site.stretches:
        rows, digest = rows + len(unit), digest_of(unit, digest)
        for point, plan in plans.items():
            found = decided_over(states[point], unit, plan)
            states[point] = found.state
            changes[point] += found.changes
        for name, own in unit.insulators.items():
            watched[name] = joined((*watched[name], *watched_spans(own)))
            for kind, limit_ua, crossed in crossings(own) if with_plain else ():
                spans.setdefault((kind, limit_ua, name), []).extend(crossed)
    tried: Trials = {Tried(OURS, point): list(occurrences(said)) for point, said in changes.items()}
    if with_plain:
        tried |= _plain(spans)
    shas = {point: plan.settings_sha for point, plan in plans.items()}
    return SiteTrials(site.insulators, rows, digest, watched, shas, tried)


def _plain(spans: Mapping[tuple[str, int, str], list[Span]]) -> Trials:
    tried: Trials = {plain_trial(kind, limit_ua): [] for kind in KINDS for limit_ua in LIMITS_UA}
    for (kind, limit_ua, name), found in spans.items():
        tried[plain_trial(kind, limit_ua)] += occurrences_of(name, joined(found, OFF_US))
    return tried


def plan_at(site: SiteRows, point: Point) -> DecisionPlan:
    """The plan of a site at one point of the grid. Raises SettingsError, DefinitionFault."""
    parts: dict[str, dict[str, object]] = {}
    for name, amount in point:
        alarm, _, setting = name.partition(".")
        own = parts.setdefault(alarm, {"limits": {}})
        limits = own["limits"]
        assert isinstance(limits, dict)
        (own if setting in DELAYS else limits)[setting] = amount
    if site.settings is not None:
        plain = site.settings.model_dump(mode="json")
        for alarm, own in parts.items():
            held = plain["alarms"].get(alarm) or {"owner": "sweep", "reason": "sweep"}
            limits = {**(held.get("limits") or {}), **own.pop("limits")}  # type: ignore[dict-item]
            plain["alarms"][alarm] = {**held, **own, "limits": limits}
        return decision_plan(Settings.model_validate_json(json.dumps(plain)), site.rate_hz)
    changes = [
        Adjustment(
            alarm=Alarm(alarm), owner="sweep", reason="sweep", limits_at=own["limits"],  # type: ignore[arg-type]
            **{name: own[name] for name in DELAYS if name in own},  # type: ignore[arg-type]
        )
        for alarm, own in parts.items()
    ]  # fmt: skip
    sha = sha256(json.dumps([sorted(point), "as shipped"]).encode()).hexdigest()[:16]
    watched = [WatchedInsulator(one) for one in site.insulators]
    return bind(adjusted(DEFAULT_ALARMS, changes), watched, sha, site.rate_hz)
