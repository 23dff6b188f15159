"""The alarm list as it is told: every alarm with its state, its text and what may be done.

A site's roll-up says 'n of N' and how many are watched. Old or lost data is said with the alarm,
and never taken for the present.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from edge.quantities import Flag
from gateway.alarms.alarm_list import calling_priority
from gateway.alarms.journal import Point
from gateway.alarms.memory import SITE_POINT, AlarmList, Kept, Maintenance, Shelf, is_worsening
from gateway.alarms.messages import MessageClass, Rationale, message_class, rationale
from gateway.alarms.roll_up import NAMED, arcing, worst
from gateway.alarms.states import LISTED, Shown

ID_MARK = "."
"""An occurrence is `<site>.<number>`; a point is `<unit>/<alarm>/<subject>`."""

DOUBTING = (Flag.CLOCK_UNSYNCHRONISED, Flag.SATURATED, Flag.GAP, Flag.DOUBTFUL_ARCING)
"""With one of these an alarm's data is told as uncertain."""


@dataclass(frozen=True, slots=True)
class SiteAround:
    """What is known of a site beside its alarms. live: units that speak of the present."""

    installed: int
    watched: int
    live: frozenset[str]
    peaks_ua: Mapping[str, int]


@dataclass(frozen=True, slots=True)
class AlarmTold:
    """One alarm. data: good, uncertain, stale (its unit is not live) or lost.

    id: of the occurrence, to acknowledge by. point: of the alarm, whatever its occurrence.
    standing: in, or latched. named: of the roll-up, the worst insulators. may: actions that the
    rules would not refuse.
    """

    id: str
    point: str
    site: str
    unit: str
    alarm: str
    subject: str
    message: MessageClass
    shown: Shown
    priority: int
    worsening: bool
    standing: bool
    text: str
    since_us: int
    heard_us: int
    cleared_us: int
    data: str
    lost_since_us: int
    late: bool
    orphaned: bool
    deciding: Mapping[str, int]
    limits: Mapping[str, int]
    reason: str
    acknowledged_by: str
    acknowledged_us: int
    note: str
    answer: str
    suppressed_by: str
    shelf: Shelf | None
    maintenance: Maintenance | None
    rationale: Rationale
    named: tuple[str, ...]
    may: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SiteAlarms:
    """Counts of a site. sound: priority that waits for somebody, None where nothing sounds.

    shown: how many alarms (not tasks) are in each state. tasks: that wait.
    """

    site: str
    installed: int
    watched: int
    sound: int | None
    standing: int
    shown: dict[str, int]
    tasks: int


@dataclass(frozen=True, slots=True)
class OutageTold:
    """A planned outage that has not ended; unit "" for the whole site."""

    site: str
    unit: str
    from_us: int
    until_us: int


@dataclass(frozen=True, slots=True)
class AlarmsTold:
    """The lists of all sites at `now_us`, and what is planned."""

    now_us: int
    sites: list[SiteAlarms]
    alarms: list[AlarmTold]
    outages: list[OutageTold] = field(default_factory=list)


def alarms_told(
    lists: Mapping[str, AlarmList], around: Mapping[str, SiteAround], now_us: int
) -> AlarmsTold:
    """Everything that is not normal, what calls first."""
    told = [
        alarm_told(held, point, around[site])
        for site, held in lists.items()
        for point, kept in held.kept.items()
        if kept.shown in LISTED
    ]
    sites = [_site(held, around[site], told) for site, held in sorted(lists.items())]
    outages = [
        OutageTold(site, one.unit, one.from_us, one.until_us)
        for site, held in sorted(lists.items())
        for one in held.outages
        if one.until_us > now_us
    ]
    return AlarmsTold(now_us, sites, sorted(told, key=_order), outages)


def _order(told: AlarmTold) -> tuple[int, int, bool, int, int]:
    """Unacknowledged first, then priority, then worsening, then the newest."""
    rank = {Shown.NEW: 0, Shown.LATCHED_NEW: 0, Shown.CLEARED: 1}
    return (
        rank.get(told.shown, 2 + list(Shown).index(told.shown)),
        told.priority,
        not told.worsening,
        -told.since_us,
        int(told.id.rpartition(ID_MARK)[2]),
    )


def alarm_told(held: AlarmList, point: Point, around: SiteAround) -> AlarmTold:
    """One alarm of a list."""
    kept = held.of(point)
    why = rationale(point.alarm)
    return AlarmTold(
        id=f"{held.site}{ID_MARK}{kept.occurrence}",
        point="/".join(point),
        site=held.site,
        unit=point.unit,
        alarm=point.alarm,
        subject=point.subject,
        message=message_class(point.alarm, kept.priority),
        shown=kept.shown,
        priority=kept.priority,
        worsening=is_worsening(held, point),
        standing=kept.core.is_in or kept.core.latched,
        text=_text(held, point, why, around),
        since_us=kept.since_us,
        heard_us=kept.heard_us,
        cleared_us=kept.cleared_us,
        data=_trust(held, point, kept, around),
        lost_since_us=kept.lost_since_us,
        late=kept.late,
        orphaned=kept.orphaned,
        deciding=_deciding(held, point),
        limits=kept.limits,
        reason=kept.reason,
        acknowledged_by=kept.acknowledged_by,
        acknowledged_us=kept.acknowledged_us,
        note=kept.note,
        answer=kept.answer,
        suppressed_by=kept.design,
        shelf=kept.shelf,
        maintenance=kept.maintenance,
        rationale=why,
        named=_named(held, point, around),
        may=_may(kept),
    )


def _text(held: AlarmList, point: Point, why: Rationale, around: SiteAround) -> str:
    if point != SITE_POINT or not held.of(point).core.is_in:
        return why.text
    named = _named(held, point, around)
    return (
        f"{len(arcing(held))} of {around.installed} insulators arcing, worst {', '.join(named)}; "
        f"{around.watched} of {around.installed} watched"
    )


def _named(held: AlarmList, point: Point, around: SiteAround) -> tuple[str, ...]:
    if point != SITE_POINT or not held.of(point).core.is_in:
        return ()
    return worst(held, arcing(held), dict(around.peaks_ua))[:NAMED]


def _deciding(held: AlarmList, point: Point) -> Mapping[str, int]:
    """What decided; of the roll-up, the count as it is."""
    kept = held.of(point)
    if point == SITE_POINT and kept.core.is_in:
        return {"insulators_arcing": held.roll.count}
    return kept.deciding


def _trust(held: AlarmList, point: Point, kept: Kept, around: SiteAround) -> str:
    if point == SITE_POINT and held.roll.counts.get("data-lost"):
        return "uncertain"
    if kept.lost_since_us:
        return "lost"
    if kept.core.is_in and point.subject and point.unit not in around.live:
        return "stale"
    return "uncertain" if set(kept.flags) & set(DOUBTING) else "good"


def _may(kept: Kept) -> tuple[str, ...]:
    latched_out = kept.core.latched and not kept.core.is_in and kept.core.acknowledged
    possible = {
        "acknowledge": not kept.core.acknowledged,
        "reset": latched_out or kept.orphaned,
        "shelve": kept.shelf is None,
        "unshelve": kept.shelf is not None,
        "out-of-service": kept.maintenance is None,
        "in-service": kept.maintenance is not None,
        "answer": bool(kept.occurrence),
    }
    return tuple(action for action, is_possible in possible.items() if is_possible)


def _site(held: AlarmList, around: SiteAround, told: list[AlarmTold]) -> SiteAlarms:
    own = [one for one in told if one.site == held.site]
    alarms = [one for one in own if one.message is MessageClass.ALARM]
    counts = {state.value: 0 for state in Shown if state in LISTED}
    for one in alarms:
        counts[one.shown.value] += 1
    hidden = (Shown.SUPPRESSED, Shown.OUT_OF_SERVICE)
    return SiteAlarms(
        held.site,
        around.installed,
        around.watched,
        calling_priority(held),
        sum(one.standing and one.shown not in hidden for one in alarms),
        counts,
        sum(one.message is MessageClass.TASK for one in own),
    )
