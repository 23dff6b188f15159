"""The alarm list as plain text of 80 columns: strokes and words, no colour, nothing hostile."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import datetime

from edge.decide.alarm_table import KEEP_CLEAR
from edge.quantities import BY_NAME, column_text
from gateway.alarms.messages import MessageClass
from gateway.alarms.states import Shown
from gateway.console.alarm_picture import AlarmsTold, AlarmTold, OutageTold, SiteAlarms
from gateway.console.client import Present
from gateway.console.picture import Liveliness
from gateway.console.text import CAUTION, age_text, cut, faults, utc_text, wrapped

PRIORITY_MARK = {1: "||| urgent", 2: "||  high", 3: "|   low"}
"""Strokes and a word beside them; neither stands alone."""

STATE_WORD = {
    Shown.NEW: "NEW",
    Shown.ACKNOWLEDGED: "acknowledged",
    Shown.CLEARED: "CLEARED, not acknowledged",
    Shown.LATCHED_NEW: "LATCHED, not acknowledged",
    Shown.LATCHED: "LATCHED, reset needed",
    Shown.SHELVED: "shelved",
    Shown.SUPPRESSED: "suppressed",
    Shown.OUT_OF_SERVICE: "out of service",
}

TRUST_WORD = {
    "good": "data good",
    "uncertain": "data UNCERTAIN",
    "stale": "data STALE: its unit is not live, last known",
    "lost": "DATA LOST",
}

ACTIVE = (Shown.NEW, Shown.LATCHED_NEW, Shown.CLEARED, Shown.ACKNOWLEDGED, Shown.LATCHED)


def alarms_text(told: AlarmsTold, present: Present, shown: Shown | None = None) -> str:
    """What waits for somebody first, then counts of what is put aside."""
    lines = [*heading(told, present), *(line for one in told.sites for line in _site_line(one))]
    chosen = [
        one for one in told.alarms if (one.shown in ACTIVE if shown is None else one.shown is shown)
    ]
    for message, title in ((MessageClass.ALARM, ""), (MessageClass.TASK, "tasks")):
        own = [one for one in chosen if one.message is message]
        lines += ["", title] if own and title else [""] if own else []
        lines += [line for one in own for line in alarm_lines(one, told.now_us)]
    return "\n".join(cut((*lines, "", *_counts(told), *_caution(told))))


def heading(told: AlarmsTold, present: Present) -> list[str]:
    """The time, and what the gateway itself cannot do."""
    local = datetime.fromtimestamp(told.now_us / 1_000_000).astimezone()
    clock = f"{utc_text(told.now_us)} UTC, local {local:%H:%M %z}"
    return [f"seafret at {present.url}, {clock}", *faults(present)]


def _site_line(site: SiteAlarms) -> Iterator[str]:
    sound = "quiet" if site.sound is None else f"CALLING, {PRIORITY_MARK[site.sound]}"
    yield (
        f"{site.site}: {site.standing} standing, "
        f"watched {site.watched} of {site.installed}, {sound}"
    )


def alarm_lines(one: AlarmTold, now_us: int) -> list[str]:
    """Priority and state, what and where, since when, whether to believe it, what to do."""
    mark = PRIORITY_MARK[one.priority]
    since = f"since {utc_text(one.since_us)} ({age_text(max(0, now_us - one.since_us))})"
    where = " ".join(part for part in (one.unit or one.site, one.subject) if part)
    pad = 4
    head = f"{mark:<11} {STATE_WORD.get(one.shown, one.shown):<26} {one.id}"
    lines = [head] if len(head) <= 80 else [head[: -len(one.id)].rstrip(), f"    {one.id}"]
    lines += wrapped(f"{where}: {one.text} [{one.alarm}]", pad)
    lines += wrapped(f"{since}; {_trust(one)}", pad)
    deciding = [_against(name, found, one.limits) for name, found in one.deciding.items()]
    for text in (*deciding, *_handled(one)):
        lines += wrapped(text, pad)
    if one.standing and one.shown in (Shown.NEW, Shown.LATCHED_NEW):
        lines += wrapped(f"do: {one.rationale.action}", pad)
    return lines


def _trust(one: AlarmTold) -> str:
    late = ", came late" if one.late else ""
    orphan = ", its unit lost its memory: a person must reset it" if one.orphaned else ""
    since = f" since {utc_text(one.lost_since_us)}" if one.data == "lost" else ""
    return TRUST_WORD[one.data] + since + late + orphan


def _handled(one: AlarmTold) -> Iterator[str]:
    if one.acknowledged_by:
        note = f": {one.note}" if one.note else ""
        yield f"acknowledged by {one.acknowledged_by} {utc_text(one.acknowledged_us)}{note}"
    if one.answer:
        yield f"answer: {one.answer}"
    if one.suppressed_by:
        yield f"suppressed by: {one.suppressed_by}"
    if one.shelf is not None:
        shelf = one.shelf
        second = f" and {shelf.second}" if shelf.second else ""
        yield f"shelved until {utc_text(shelf.until_us)} by {shelf.by}{second}: {shelf.reason}"
    if one.maintenance is not None:
        work = one.maintenance
        yield f"work order {work.order} since {utc_text(work.since_us)} by {work.by} {work.reason}"


def _against(name: str, found: int, limits: object) -> str:
    limit = limits.get(name) if isinstance(limits, dict) else None
    return _quantity(name, found) + ("" if limit is None else f", limit {_quantity(name, limit)}")


def _quantity(name: str, found: int) -> str:
    quantity = BY_NAME.get(name)
    if quantity is None:
        return f"{name} {found}"
    return f"{quantity.column} {column_text(quantity, found)}"


def _counts(told: AlarmsTold) -> list[str]:
    def count(*states: Shown) -> int:
        return sum(site.shown[state.value] for site in told.sites for state in states)

    standing = sum(site.standing for site in told.sites)
    new = count(Shown.NEW, Shown.LATCHED_NEW)
    return [
        f"{standing} alarms standing: {new} new, "
        f"{count(Shown.ACKNOWLEDGED, Shown.LATCHED)} acknowledged; {count(Shown.CLEARED)} cleared",
        f"suppressed by design: {count(Shown.SUPPRESSED)}   shelved: {count(Shown.SHELVED)}   "
        f"out of service: {count(Shown.OUT_OF_SERVICE)}   "
        f"tasks: {sum(site.tasks for site in told.sites)}",
    ]


def _caution(told: AlarmsTold) -> list[str]:
    """Where anything arcs, to keep clear; else what this is not."""
    arcs = any(one.standing and one.rationale.safety == KEEP_CLEAR for one in told.alarms)
    return wrapped(KEEP_CLEAR, 0) if arcs else [CAUTION]


def hand_over_text(
    told: AlarmsTold, present: Present, entries: Iterable[dict[str, object]], since: str
) -> str:
    """For the next shift: what stands, what is put aside, where one is blind, what was done."""
    lines = ["SHIFT HAND-OVER", *heading(told, present)]
    lines += [line for one in told.sites for line in _site_line(one)]
    sections = (
        ("STANDING OR WAITING", ACTIVE, MessageClass.ALARM),
        ("SHELVED", (Shown.SHELVED,), None),
        ("SUPPRESSED BY DESIGN", (Shown.SUPPRESSED,), None),
        ("OUT OF SERVICE", (Shown.OUT_OF_SERVICE,), None),
        ("TASKS", ACTIVE, MessageClass.TASK),
    )
    for title, states, message in sections:
        own = [one for one in told.alarms if one.shown in states and message in (None, one.message)]
        lines += ["", f"{title}: {len(own)}"]
        lines += [line for one in own for line in alarm_lines(one, told.now_us)]
    blind = list(_blind_spots(present))
    lines += ["", f"NOT WATCHED: {len(blind)}", *blind]
    lines += ["", f"EXPECTED, planned outages: {len(told.outages)}"]
    lines += [line for one in told.outages for line in _outage_lines(one)]
    done = list(_done(entries))
    lines += ["", f"SINCE {since}: {len(done)}", *(line for one in done for line in one)]
    return "\n".join(cut((*lines, "", *_counts(told), *_caution(told))))


def _outage_lines(one: OutageTold) -> list[str]:
    what = one.unit or f"all of {one.site}"
    return wrapped(f"{what}: {utc_text(one.from_us)} to {utc_text(one.until_us)} UTC", 4)


def _blind_spots(present: Present) -> Iterator[str]:
    for unit in present.units:
        if unit.liveliness is not Liveliness.LIVE:
            yield f"    {unit.unit}: {unit.liveliness}, data {age_text(unit.data_age_us)}"
    for one in present.insulators:
        if not one.watched:
            yield f"    {one.site} {one.insulator}: data {age_text(one.age_us)}"


TOLD_OF = frozenset(
    {
        "announced",
        "acknowledged",
        "reset",
        "shelved",
        "unshelved",
        "taken-out",
        "put-back",
        "answered",
        "outage-planned",
        "restarted",
        "digest",
        "reminded",
    }
)
"""What a hand-over tells of the journal; the rest is there to be looked up."""


def _done(entries: Iterable[dict[str, object]]) -> Iterator[list[str]]:
    for entry in entries:
        if entry["what"] not in TOLD_OF:
            continue
        point = entry["point"]
        parts = [part for part in point if part] if isinstance(point, list | tuple) else []
        reason = f": {entry['reason']}" if entry["reason"] else ""
        label = f" {entry['label']}" if entry["label"] else ""
        at_us = entry["at_us"]
        when = utc_text(at_us) if isinstance(at_us, int) else ""
        text = f"{when} {entry['what']}{label} {' '.join(parts)} by {entry['who']}{reason}"
        yield wrapped(text, 4)
