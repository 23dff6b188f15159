"""The journal: what was heard, decided and done, by whom, in an order that never changes.

Entries are only ever added. The alarm list is a fold of them (`gateway.alarms.folding`), so what is
shown can be told again from the journal alone, and a restart announces nothing anew.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, field, replace
from enum import StrEnum
from typing import NamedTuple

from edge.records import ConditionChange
from edge.wire import canonical, read_checked
from gateway.alarms.states import Shown

GATEWAY = "gateway"
"""Who did it, where no person and no unit did."""


class JournalFault(ValueError):
    """A line of the journal is not as it was written: the disk, or a foreign hand."""


class Point(NamedTuple):
    """What an alarm is about; unit and subject are "" for the site as a whole."""

    unit: str
    alarm: str
    subject: str


NO_POINT = Point("", "", "")


class What(StrEnum):
    """Kinds of entries."""

    HEARD = "heard"  # a condition changed, by a unit's word or by the gateway's own judgement
    BEGAN_ANEW = "began-anew"  # a unit lost its memory: what was in is neither raised nor cleared
    PASSED_OVER = "passed-over"  # another line of a unit's alarm stream
    ANNOUNCED = "announced"
    RENEWED = "renewed"
    COUNTED = "counted"  # the roll-up's count or its worst ones changed, without a sound
    SUPPRESSED = "suppressed"
    REVEALED = "revealed"
    DIGEST = "digest"
    REMINDED = "reminded"
    RESTARTED = "restarted"
    ACKNOWLEDGED = "acknowledged"
    RESET = "reset"
    SHELVED = "shelved"
    UNSHELVED = "unshelved"
    TAKEN_OUT = "taken-out"
    PUT_BACK = "put-back"
    ANSWERED = "answered"
    OUTAGE_PLANNED = "outage-planned"


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One entry. Times are UTC us; at_us is the gateway's, the change carries the event's.

    number: 1, 2, ... within the journal of a site. occurrence: the alarm's running number within
    the site, 0 for none. before, after: what was shown. second: the other person where two are
    needed. reference: work order. label: an answer. from_us, until_us: of a shelf, an outage, a
    time of blindness or a storm. named: insulators, worst first. counts: what was counted.
    """

    number: int = 0
    at_us: int
    what: What
    who: str
    address: str = ""
    point: Point = NO_POINT
    occurrence: int = 0
    before: Shown = Shown.NORMAL
    after: Shown = Shown.NORMAL
    reason: str = ""
    change: ConditionChange | None = None
    epoch: str = ""
    seq: int = 0
    late: bool = False
    worsening: bool = False
    sound: bool = False
    priority: int = 0
    second: str = ""
    reference: str = ""
    label: str = ""
    from_us: int = 0
    until_us: int = 0
    named: tuple[str, ...] = ()
    counts: dict[str, int] = field(default_factory=dict)


_BLANK = asdict(Entry(at_us=0, what=What.HEARD, who=""))
_ALWAYS = ("number", "at_us", "what", "who")


def entry_line(entry: Entry) -> bytes:
    """The canonical line of an entry; what is as ever is left out."""
    plain = asdict(entry)
    kept = {name: plain[name] for name in plain if name in _ALWAYS or plain[name] != _BLANK[name]}
    return canonical(kept)


def read_entry(line: bytes) -> Entry:
    """The entry of a line that `entry_line` made. Raises JournalFault."""
    try:
        plain = json.loads(line)
        change = plain.pop("change", None)
        entry = Entry(**plain)
        heard = None if change is None else read_checked(canonical(change))
        assert heard is None or isinstance(heard, ConditionChange)
        return replace(
            entry,
            what=What(entry.what),
            point=Point(*entry.point),
            before=Shown(entry.before),
            after=Shown(entry.after),
            named=tuple(entry.named),
            change=heard,
        )
    except (ValueError, TypeError, AttributeError, AssertionError) as fault:
        raise JournalFault(
            f"alarm journal: {fault}; the line must be as it was written: {line[:200]!r}; "
            "restore the site's file from its copy"
        ) from fault
