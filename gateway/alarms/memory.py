"""What the alarm list remembers: of each alarm, and of the site."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from edge.decide.definitions import Alarm
from gateway.alarms.journal import Entry, Point
from gateway.alarms.messages import SITE_ARCING, WORSENING
from gateway.alarms.states import NORMAL, Core, Shown, Veil, shown

SITE_POINT = Point("", SITE_ARCING, "")
"""The roll-up of a site."""


@dataclass(frozen=True, slots=True)
class Shelf:
    """Put aside by a person for a time. priority: what it had when it was shelved."""

    until_us: int
    by: str
    second: str
    reason: str
    since_us: int
    priority: int


@dataclass(frozen=True, slots=True)
class Maintenance:
    """Out of service under a work order; ends only by hand."""

    order: str
    by: str
    reason: str
    since_us: int
    reminded_us: int


@dataclass(frozen=True, slots=True)
class Kept:
    """Memories of one alarm.

    heard_us: when the gateway was told of its last condition. since_us: first crossing of the
    limit. cleared_us: when it last went out. lost_since_us: its data is lost since then, 0 where
    not. orphaned: its unit lost its memory, so nobody may ever say 'out'. late: its last 'in' came
    long after it happened and is not announced until the unit has caught up. pending: it is to be
    announced. announced_us: when this occurrence last was, 0 never. sounding: it was and nobody has
    acknowledged it. overdue: for too long. design: the rule that suppresses it, "" for none.
    """

    core: Core = NORMAL
    occurrence: int = 0
    priority: int = 3
    latching: bool = False
    heard_us: int = 0
    since_us: int = 0
    cleared_us: int = 0
    deciding: Mapping[str, int] = field(default_factory=dict)
    limits: Mapping[str, int] = field(default_factory=dict)
    flags: tuple[str, ...] = ()
    reason: str = ""
    lost_since_us: int = 0
    orphaned: bool = False
    late: bool = False
    pending: bool = False
    announced_us: int = 0
    sounding: bool = False
    overdue: bool = False
    acknowledged_by: str = ""
    acknowledged_us: int = 0
    note: str = ""
    answer: str = ""
    design: str = ""
    shelf: Shelf | None = None
    maintenance: Maintenance | None = None

    @property
    def veil(self) -> Veil:
        """What lies over it."""
        return Veil(self.maintenance is not None, bool(self.design), self.shelf is not None)

    @property
    def shown(self) -> Shown:
        """What an operator sees."""
        return shown(self.core, self.veil)


QUIET = Kept()


@dataclass(frozen=True, slots=True)
class Outage:
    """A planned outage of a unit, or of the whole site where `unit` is ""."""

    unit: str
    from_us: int
    until_us: int

    def covers(self, unit: str, at_us: int) -> bool:
        """Whether the unit is meant to be quiet then; the site as a whole only by its own."""
        return self.unit in ("", unit) and self.from_us <= at_us < self.until_us


@dataclass(frozen=True, slots=True)
class Roll:
    """The roll-up that stands. told: count when people last heard of it, or acknowledged it.
    calm_us: since when few are in, 0 where many are."""

    count: int = 0
    told: int = 0
    calm_us: int = 0
    named: tuple[str, ...] = ()
    counts: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Announcement:
    """When a point called."""

    at_us: int
    point: Point
    worsening: bool


@dataclass(frozen=True, slots=True)
class AlarmList:
    """The alarms of one site. Treat the mappings as frozen: a fold makes new ones.

    heard: last line of each (unit, epoch) of alarm streams. recent: announcements that the budgets
    still look back on. washes: insulators ("" the site) with a wash on record, and until when it
    counts.
    """

    site: str
    kept: Mapping[Point, Kept] = field(default_factory=dict)
    heard: Mapping[tuple[str, str], int] = field(default_factory=dict)
    numbers: int = 0
    occurrences: int = 0
    recent: tuple[Announcement, ...] = ()
    roll: Roll = Roll()
    outages: tuple[Outage, ...] = ()
    washes: Mapping[str, int] = field(default_factory=dict)

    def of(self, point: Point) -> Kept:
        """Memories of a point; of one that was never heard of, nothing."""
        return self.kept.get(point, QUIET)


Entries = tuple[Entry, ...]


def is_worsening(held: AlarmList, point: Point) -> bool:
    """Whether it breaks through suppression by design and every budget."""
    if point.alarm == Alarm.OVER_RANGE:
        return held.of(Point(point.unit, Alarm.ARCING, point.subject)).core.is_in
    return point.alarm in WORSENING
