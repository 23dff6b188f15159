"""The fold: the alarm list after one more entry of its journal.

Everything that an entry does to the memories is here, and nothing else changes them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace

from edge.records import Condition
from gateway.alarms.journal import Entry, Point, What
from gateway.alarms.memory import (
    SITE_POINT,
    AlarmList,
    Announcement,
    Entries,
    Kept,
    Maintenance,
    Outage,
    Roll,
    Shelf,
)
from gateway.alarms.states import CLEARED, NEXT, Stimulus

LOOKED_BACK_US = 600_000_000
"""Ten minutes of announcements are remembered for the budgets; older ones weigh no more."""

WASH_US = 4 * 3_600_000_000
"""A wash wets an insulator in dry air; so long it counts. Design choice."""

WASHING = "washing"


def fold(held: AlarmList, entries: Iterable[Entry]) -> AlarmList:
    """The list after entries, in their order."""
    for entry in entries:
        held = folded(held, entry)
    return held


def put(held: AlarmList, *drafts: Entry) -> tuple[AlarmList, Entries]:
    """Numbers the drafts, folds them, and fills in what was shown before and after."""
    entries: list[Entry] = []
    for draft in drafts:
        entry = replace(draft, number=held.numbers + 1, before=held.of(draft.point).shown)
        held = folded(held, entry)
        kept = held.of(entry.point)
        occurrence = entry.occurrence or kept.occurrence
        priority = entry.priority or (kept.priority if kept.occurrence else 0)
        entries.append(replace(entry, after=kept.shown, occurrence=occurrence, priority=priority))
    return held, tuple(entries)


def folded(held: AlarmList, entry: Entry) -> AlarmList:
    """The list after one entry."""
    numbered = replace(held, numbers=entry.number)
    if entry.epoch:
        marks = {**held.heard, (entry.point.unit, entry.epoch): entry.seq}
        numbered = replace(numbered, heard=marks)
    return _FOLDS[entry.what](numbered, entry)


def _changed(held: AlarmList, point: Point, kept: Kept) -> AlarmList:
    return replace(held, kept={**held.kept, point: kept})


def _moved(kept: Kept, stimulus: Stimulus) -> Kept:
    return replace(kept, core=NEXT[kept.core, stimulus])


def _heard(held: AlarmList, entry: Entry) -> AlarmList:
    assert entry.change is not None, "an entry of what was heard holds the change"
    kept = held.of(entry.point)
    if entry.change.condition is Condition.UNKNOWN:
        lost = replace(kept, lost_since_us=entry.change.since_us, reason=entry.change.reason)
        return _changed(held, entry.point, lost)
    known = replace(kept, lost_since_us=0, orphaned=False, reason=entry.change.reason)
    if entry.change.condition is Condition.OUT:
        return _changed(held, entry.point, _went_out(known, entry))
    if kept.core.is_in:
        return _changed(held, entry.point, _still_in(known, entry))
    occurrence = held.occurrences + 1
    began = _changed(held, entry.point, _went_in(known, entry, occurrence))
    return replace(began, occurrences=occurrence)


def _went_in(kept: Kept, entry: Entry, occurrence: int) -> Kept:
    change = entry.change
    assert change is not None
    stimulus = Stimulus.IN_LATCHING if change.latched else Stimulus.IN
    return replace(
        _moved(kept, stimulus),
        occurrence=occurrence,
        priority=change.priority,
        latching=change.latched,
        heard_us=entry.at_us,
        since_us=change.since_us,
        cleared_us=0,
        deciding=dict(change.deciding),
        limits=dict(change.limits),
        flags=change.flags,
        late=entry.late,
        pending=True,
        announced_us=0,
        sounding=False,
        overdue=False,
        acknowledged_by="",
        acknowledged_us=0,
        note="",
        answer="",
    )


def _still_in(kept: Kept, entry: Entry) -> Kept:
    """The same occurrence goes on; only a rise of priority is news."""
    change = entry.change
    assert change is not None
    rose = change.priority < kept.priority
    moved = _moved(kept, Stimulus.RENEW) if rose else kept
    return replace(
        moved,
        priority=change.priority,
        pending=rose or kept.pending,
        deciding=dict(change.deciding),
        limits=dict(change.limits),
        flags=change.flags,
    )


def _went_out(kept: Kept, entry: Entry) -> Kept:
    """What began and ended before anybody could be told is for the journal only."""
    if not kept.core.is_in:
        return kept
    assert entry.change is not None
    out = replace(_moved(kept, Stimulus.OUT), cleared_us=entry.change.at_us)
    unseen = kept.late and out.core == CLEARED
    return replace(_moved(out, Stimulus.ACKNOWLEDGE), late=False) if unseen else out


def _began_anew(held: AlarmList, entry: Entry) -> AlarmList:
    orphans = {
        point: replace(kept, orphaned=True, lost_since_us=kept.lost_since_us or entry.at_us)
        for point, kept in held.kept.items()
        if point.unit == entry.point.unit and kept.core.is_in
    }
    return replace(held, kept={**held.kept, **orphans})


def _announced(held: AlarmList, entry: Entry) -> AlarmList:
    kept = replace(
        held.of(entry.point),
        pending=False,
        announced_us=entry.at_us,
        sounding=True,
        overdue=False,
        late=False,
    )
    recent = tuple(one for one in held.recent if one.at_us > entry.at_us - LOOKED_BACK_US)
    told = replace(
        _changed(held, entry.point, kept),
        recent=(*recent, Announcement(entry.at_us, entry.point, entry.worsening)),
    )
    if entry.point != SITE_POINT:
        return told
    return replace(told, roll=replace(held.roll, told=held.roll.count))


def _renewed(held: AlarmList, entry: Entry) -> AlarmList:
    kept = _moved(held.of(entry.point), Stimulus.RENEW)
    return _changed(held, entry.point, replace(kept, pending=True, overdue=entry.sound))


def _counted(held: AlarmList, entry: Entry) -> AlarmList:
    counted = Roll(
        entry.counts["arcing"],
        held.roll.told,
        entry.from_us,
        entry.named,
        entry.counts,
    )
    return replace(held, roll=counted)


def _suppressed(held: AlarmList, entry: Entry) -> AlarmList:
    return _changed(held, entry.point, replace(held.of(entry.point), design=entry.reason))


def _revealed(held: AlarmList, entry: Entry) -> AlarmList:
    return _changed(held, entry.point, _unveiled(replace(held.of(entry.point), design="")))


def _unveiled(kept: Kept) -> Kept:
    """After one suppression ended; where it was the last, what is in calls again."""
    if any(kept.veil):
        return kept
    return replace(_moved(kept, Stimulus.REVEAL), pending=True, sounding=False)


def _digest(held: AlarmList, entry: Entry) -> AlarmList:
    return replace(held, roll=Roll())


def _acknowledged(held: AlarmList, entry: Entry) -> AlarmList:
    """Of a roll-up, the person has seen the count as it is then, announced or not."""
    kept = replace(
        _moved(held.of(entry.point), Stimulus.ACKNOWLEDGE),
        pending=False,
        sounding=False,
        overdue=False,
        acknowledged_by=entry.who,
        acknowledged_us=entry.at_us,
        note=entry.reason,
    )
    changed = _changed(held, entry.point, kept)
    if entry.point != SITE_POINT:
        return changed
    told = max(held.roll.told, held.roll.count)
    return replace(changed, roll=replace(held.roll, told=told))


def _reset(held: AlarmList, entry: Entry) -> AlarmList:
    """Of an orphan, the person's word stands for the unit's: out, seen and reset at once."""
    kept = held.of(entry.point)
    if kept.orphaned:
        kept = _moved(_moved(kept, Stimulus.OUT), Stimulus.ACKNOWLEDGE)
        kept = replace(kept, orphaned=False, lost_since_us=0, cleared_us=entry.at_us)
    return _changed(held, entry.point, _moved(kept, Stimulus.RESET))


def _shelved(held: AlarmList, entry: Entry) -> AlarmList:
    kept = held.of(entry.point)
    shelf = Shelf(entry.until_us, entry.who, entry.second, entry.reason, entry.at_us, kept.priority)
    return _changed(held, entry.point, replace(kept, shelf=shelf))


def _unshelved(held: AlarmList, entry: Entry) -> AlarmList:
    return _changed(held, entry.point, _unveiled(replace(held.of(entry.point), shelf=None)))


def _taken_out(held: AlarmList, entry: Entry) -> AlarmList:
    work = Maintenance(entry.reference, entry.who, entry.reason, entry.at_us, entry.at_us)
    return _changed(held, entry.point, replace(held.of(entry.point), maintenance=work))


def _put_back(held: AlarmList, entry: Entry) -> AlarmList:
    kept = _unveiled(replace(held.of(entry.point), maintenance=None))
    return _changed(held, entry.point, kept)


def _reminded(held: AlarmList, entry: Entry) -> AlarmList:
    kept = held.of(entry.point)
    assert kept.maintenance is not None, "only what is out of service is reminded of"
    work = replace(kept.maintenance, reminded_us=entry.at_us)
    return _changed(held, entry.point, replace(kept, maintenance=work))


def _answered(held: AlarmList, entry: Entry) -> AlarmList:
    told = _changed(held, entry.point, replace(held.of(entry.point), answer=entry.label))
    if entry.label != WASHING:
        return told
    washes = {where: until for where, until in held.washes.items() if until > entry.at_us}
    return replace(told, washes={**washes, entry.point.subject: entry.at_us + WASH_US})


def _outage_planned(held: AlarmList, entry: Entry) -> AlarmList:
    ahead = tuple(one for one in held.outages if one.until_us > entry.at_us)
    planned = Outage(entry.point.unit, entry.from_us, entry.until_us)
    return replace(held, outages=(*ahead, planned))


def _noted(held: AlarmList, entry: Entry) -> AlarmList:
    return held


_FOLDS: dict[What, Callable[[AlarmList, Entry], AlarmList]] = {
    What.HEARD: _heard,
    What.BEGAN_ANEW: _began_anew,
    What.PASSED_OVER: _noted,
    What.ANNOUNCED: _announced,
    What.RENEWED: _renewed,
    What.COUNTED: _counted,
    What.SUPPRESSED: _suppressed,
    What.REVEALED: _revealed,
    What.DIGEST: _digest,
    What.REMINDED: _reminded,
    What.RESTARTED: _noted,
    What.ACKNOWLEDGED: _acknowledged,
    What.RESET: _reset,
    What.SHELVED: _shelved,
    What.UNSHELVED: _unshelved,
    What.TAKEN_OUT: _taken_out,
    What.PUT_BACK: _put_back,
    What.ANSWERED: _answered,
    What.OUTAGE_PLANNED: _outage_planned,
}
