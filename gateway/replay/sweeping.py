"""A grid of limits on a labelled library: misses and lead time at the same operator load.

Rows are read once and decided on with every setting of the grid beside one another. Limits are
chosen on the tuning part alone; what they do on the part that was kept back stands beside it.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path

from edge.decide.alarm_table import DEFAULT_ALARMS
from edge.decide.binding import DecisionPlan, WatchedInsulator, bind
from edge.decide.definitions import Adjustment, Alarm, adjusted
from edge.decide.state import initial
from edge.quantities import INT64_MAX
from edge.records import ConditionChange
from edge.settings import Settings, decision_plan
from gateway.replay.grid import DELAYS, Grid, GridFault, Point, path_of
from gateway.replay.labels import Kind, Label, read_labels
from gateway.replay.occurrences import Occurrence, occurrences
from gateway.replay.passing_over import decided_over
from gateway.replay.plain_limits import KINDS, LIMITS_UA, OFF_US, crossings, occurrences_of
from gateway.replay.rows_run import digest_of, watched_spans
from gateway.replay.scoring import Rules, Verdict, scored
from gateway.replay.sweep_sites import SiteRows, inputs_sha, opened_site
from gateway.replay.watched import Span, joined, length_us

OURS = "alarms"
TUNING, HELD_OUT = "tuning", "held-out"


@dataclass(frozen=True, slots=True, order=True)
class Tried:
    """One thing that was tried. detector: OURS, or a kind of plain limit. point: its settings."""

    detector: str
    point: Point


def plain_trial(kind: str, limit_ua: int) -> Tried:
    """A plain limit as a thing tried."""
    return Tried(kind, ((f"{kind}_ua", limit_ua),))


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


def swept(grid: Grid, base: Path, say: Callable[[str], None] = lambda _: None) -> Swept:
    """Tries the whole grid. Raises GridFault, LabelsFault, SettingsError, HistoryFault, OSError."""
    tallies: dict[tuple[Tried, str], Tally] = {}
    shas: dict[Point, str] = {}
    told = []
    for part in grid.sites:
        say(f"{part.name} ...")
        with opened_site(part, base) as site:
            where = path_of(base, part.labels)
            labels = read_labels(
                where.read_text(encoding="utf-8-sig"), str(where), site.insulators, (part.name,)
            )
            plans = {point: plan_at(site, point) for point in grid.points}
            shas |= {point: plan.settings_sha for point, plan in plans.items()}
            tried, watched, rows, digest = _decided(site, plans)
        _tally(tallies, grid, site, labels.labels, tried, watched)
        told.append(
            SiteTold(
                part.name, part.held_out, rows, digest, inputs_sha(site.inputs), labels.sha,
                site.broken,
            )
        )  # fmt: skip
    return Swept(grid, tallies, shas, tuple(told))


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


Trials = dict[Tried, list[Occurrence]]


def _decided(
    site: SiteRows, plans: Mapping[Point, DecisionPlan]
) -> tuple[Trials, dict[str, tuple[Span, ...]], int, str]:
    """(alarms of everything tried, when each insulator was watched, rows, their digest)."""
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
            for kind, limit_ua, crossed in crossings(own):
                spans.setdefault((kind, limit_ua, name), []).extend(crossed)
    tried: Trials = {Tried(OURS, point): list(occurrences(said)) for point, said in changes.items()}
    for kind in KINDS:
        tried |= {plain_trial(kind, limit_ua): [] for limit_ua in LIMITS_UA}
    for (kind, limit_ua, name), found_spans in spans.items():
        tried[plain_trial(kind, limit_ua)] += occurrences_of(name, joined(found_spans, OFF_US))
    return tried, watched, rows, digest


def _tally(
    tallies: dict[tuple[Tried, str], Tally],
    grid: Grid,
    site: SiteRows,
    labels: Sequence[Label],
    tried: Trials,
    watched: Mapping[str, tuple[Span, ...]],
) -> None:
    unknown = [name for name in grid.held if name not in site.insulators]
    if unknown and len(grid.sites) == 1:
        raise GridFault(
            f"hold_out.insulators {', '.join(unknown)}: unknown; there are "
            f"{', '.join(site.insulators)}"
        )
    kept = {name: spans for name, spans in watched.items() if name in grid.held}
    rest = {name: spans for name, spans in watched.items() if name not in grid.held}
    whole = (0, INT64_MAX)
    if site.part.held_out:
        pieces = [(HELD_OUT, watched, whole)]
    else:
        pieces = [
            (TUNING, rest, (0, grid.held_from_us)),
            (HELD_OUT, rest, (grid.held_from_us, INT64_MAX)),
            (HELD_OUT, kept, whole),
        ]
    for part, own, period in pieces:
        if own and period[0] < period[1]:
            _add(tallies, grid, part, own, period, labels, tried)


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
