"""The roll-up: one storm is one alarm.

Salt and fog reach a whole site at once. As soon as a few insulators arc, one alarm of the site
counts them, names the worst three and stands for them; the single ones are suppressed by design
and stay in the journal. It calls again only when its priority rises, its count doubles, or nobody
has acknowledged it for an hour. When it ends, a digest says who arced and for how long.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from edge.decide.definitions import Alarm
from edge.records import Condition, ConditionChange
from gateway.alarms.journal import GATEWAY, Entry, Point, What
from gateway.alarms.memory import SITE_POINT, AlarmList, Kept, is_worsening
from gateway.alarms.messages import SITE_ARCING
from gateway.alarms.sight import Sight
from gateway.alarms.suppression import SITE_ROLL_UP

COUNT_ON = 3
"""From so many arcing insulators on the site speaks for them. Each has its own delay behind it."""

COUNT_OFF = 1
"""With so many left, or fewer, the storm dies down."""

CALM_US = 600_000_000
"""So long few must be left before it is over; each insulator's end took an hour of good data."""

UNACKNOWLEDGED_US = 3_600_000_000
"""After so long without an acknowledgement it calls again."""

NAMED = 3
"""So many are named, the worst first."""


def count_on(installed: int) -> int:
    """How many must arce before the site speaks for them.

    The rule of small sites: with two insulators both must arc, and both are named; a single one
    has nothing to be rolled up with and always speaks for itself.
    """
    return min(COUNT_ON, max(2, installed))


def arcing(held: AlarmList) -> dict[str, Point]:
    """Insulators that arc, and the point that says so; those out of service do not count, nor does
    what came late. Lost data keeps them in."""
    found: dict[str, Point] = {}
    for point, kept in held.kept.items():
        counts = kept.core.is_in and kept.maintenance is None and not kept.late
        if counts and point.alarm in (Alarm.ARCING, Alarm.NEAR_MARGIN):
            found.setdefault(point.subject, point)
    return found


def judge_site(held: AlarmList, sight: Sight) -> Iterator[Entry]:
    """The roll-up's own entries at a tick."""
    found = arcing(held)
    site = held.of(SITE_POINT)
    count = len(found)
    if not site.core.is_in:
        on = count_on(sight.installed)
        if count >= on and site.maintenance is None:
            yield _condition(held, sight, found, Condition.IN)
            yield _counted(held, sight, found, 0)
        return
    calm_us = min(held.roll.calm_us or sight.now_us, sight.now_us) if count <= COUNT_OFF else 0
    if calm_us and sight.now_us - calm_us >= CALM_US:
        yield _condition(held, sight, found, Condition.OUT)
        yield _digest(held, site, sight)
        return
    if _priority(count, sight.installed) < site.priority:
        yield _condition(held, sight, found, Condition.IN)
    counted = _counted(held, sight, found, calm_us)
    if calm_us != held.roll.calm_us or counted.counts != held.roll.counts:
        yield counted
    yield from _calls_again(held, site, count, sight.now_us)


def _calls_again(held: AlarmList, site: Kept, count: int, now_us: int) -> Iterator[Entry]:
    """Once, and not at every look: what waits for the budget already need not be called again."""
    if not site.announced_us:
        return
    waited = not site.core.acknowledged and now_us - site.announced_us >= UNACKNOWLEDGED_US
    overdue = waited and not site.overdue
    why = "nobody has acknowledged it for an hour" if overdue else ""
    if held.roll.told and count >= 2 * held.roll.told and not site.pending:
        why = f"the count has doubled, from {held.roll.told} to {count}"
    if why:
        yield Entry(
            at_us=now_us,
            what=What.RENEWED,
            who=GATEWAY,
            point=SITE_POINT,
            reason=why,
            sound=overdue,
        )


def _priority(count: int, installed: int) -> int:
    """1 from half of the insulators on. It never falls while the storm lasts."""
    return 1 if 2 * count >= installed else 2


def worst(held: AlarmList, subjects: Iterable[str], peaks_ua: dict[str, int]) -> tuple[str, ...]:
    """Insulators, the worst first: worsening, then by highest arcing current, then by name."""
    worsening = {
        point.subject
        for point, kept in held.kept.items()
        if (kept.core.is_in or kept.core.latched) and is_worsening(held, point)
    }
    return tuple(
        sorted(subjects, key=lambda one: (one not in worsening, -peaks_ua.get(one, 0), one))
    )


def _condition(
    held: AlarmList, sight: Sight, found: dict[str, Point], condition: Condition
) -> Entry:
    count, site = len(found), held.of(SITE_POINT)
    since_us = min((held.of(point).since_us for point in found.values()), default=sight.now_us)
    priority = _priority(count, sight.installed)
    change = ConditionChange(
        alarm=SITE_ARCING,
        subject="",
        condition=condition,
        priority=min(priority, site.priority) if site.core.is_in else priority,
        latched=False,
        at_us=sight.now_us,
        at_counter=0,
        since_us=since_us,
        deciding={"insulators_arcing": count},
        limits={"insulators_arcing": count_on(sight.installed)},
    )
    return Entry(at_us=sight.now_us, what=What.HEARD, who=GATEWAY, point=SITE_POINT, change=change)


def _counted(held: AlarmList, sight: Sight, found: dict[str, Point], calm_us: int) -> Entry:
    lost = sum(bool(held.of(point).lost_since_us) for point in found.values())
    return Entry(
        at_us=sight.now_us,
        what=What.COUNTED,
        who=GATEWAY,
        point=SITE_POINT,
        from_us=calm_us,
        named=worst(held, found, dict(sight.peaks_ua))[:NAMED],
        counts={
            "arcing": len(found),
            "data-lost": lost,
            "installed": sight.installed,
            "watched": sight.watched,
        },
    )


def _digest(held: AlarmList, site: Kept, sight: Sight) -> Entry:
    """Seconds that each insulator's alarm stood during the storm, the longest first."""
    stood_s = {
        point.subject: ((kept.cleared_us or sight.now_us) - kept.since_us) // 1_000_000
        for point, kept in held.kept.items()
        if kept.design == SITE_ROLL_UP
    }
    named = tuple(sorted(stood_s, key=lambda one: (-stood_s[one], one)))
    return Entry(
        at_us=sight.now_us,
        what=What.DIGEST,
        who=GATEWAY,
        point=SITE_POINT,
        occurrence=site.occurrence,
        from_us=site.since_us,
        until_us=sight.now_us,
        named=named,
        counts=stood_s,
        reason=f"{len(named)} insulators had arced",
    )
