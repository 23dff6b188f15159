"""The outstation put together: its point list, its listener, and what it is told."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from edge.records import IntervalRow, Span
from gateway.alarms.journal import Entry
from gateway.alarms.memory import AlarmList
from gateway.books import Books
from gateway.console.picture import Picture
from gateway.history.store import Commit, History
from gateway.outstation.asdu import Quality, Reading
from gateway.outstation.changes import BOOK as HANDED_OVER
from gateway.outstation.changes import NOT_YET, HandedOver, changes, hand_over_line, handed_over
from gateway.outstation.points import BOOK, PointList, Subject, csv_text, fold, lines_due
from gateway.outstation.readings import Readings, of_entry, of_gateway, of_picture, of_row
from gateway.outstation.server import Server
from gateway.outstation.station import initial
from gateway.outstation.table import Of
from gateway.outward_settings import Outstation as Settings
from gateway.settings import Site

END_US = 1 << 62

LOOK_US = 10_000_000
"""The whole picture is looked at this often: what turns or is measured is told at once without it,
and thousands of insulators cost little."""


@dataclass(frozen=True, slots=True)
class Around:
    """What the outstation sees around it. deaf: the gateway cannot hear its units, or not store.
    changed: told when a master comes or goes, and when the list was handed over."""

    books: Books
    history: History
    register: Mapping[str, Site]
    picture: Callable[[], Picture]
    lists: Callable[[], Mapping[str, AlarmList]]
    now_us: Callable[[], int]
    deaf: Callable[[], bool]
    changed: Callable[[], None] = lambda: None


@dataclass(frozen=True, slots=True)
class OutstationTold:
    """How the outstation stands. waiting: events that no master has confirmed yet. handed_over:
    version of the point list that the control centre has, 0 for none."""

    listens: str
    masters: int
    transferring: bool
    waiting: int
    events: int
    events_lost: int
    points: int
    points_version: int
    handed_over: int
    common_address: int
    tls: bool


class Outstation:
    """Told of commits, journal entries and time; from any thread."""

    def __init__(self, settings: Settings, around: Around) -> None:
        """Brings the point list up to the register. Raises BookFault, PointsFault, ListenFault."""
        self._settings, self._around = settings, around
        self.points = _brought_up(around)
        self.changes = changes(around.books.read(BOOK))
        self._handed_over = handed_over(around.books.read(HANDED_OVER))
        slots = {address: slot for address, _, slot in self.points.points()}
        self.server = Server(settings, initial(slots), around.now_us, around.changed)
        self._totals = _totals(around.history, around.register)
        self._looked_us: int | None = None
        self._one_at_a_time = threading.Lock()

    def start(self) -> None:
        """Listens; nothing is told before. Raises ListenFault."""
        self.server.start()
        self.server.tell(self._counters())
        self.tick()

    def _counters(self) -> Iterator[tuple[int, Reading]]:
        """Where the counters stand, from the whole history."""
        now_us = self._around.now_us()
        for name, total in self._totals.items():
            address = self.points.address(Subject(Of.INSULATOR, name), "arcing-total")
            if address is not None:
                yield address, Reading(total, Quality.GOOD, now_us)

    def stop(self) -> None:
        """Ends every connection."""
        self.server.stop()

    def on_entries(self, site: str, entries: Sequence[Entry]) -> None:
        """The alarm journal has grown."""
        self.server.tell(one for entry in entries for one in of_entry(self.points, site, entry))

    def on_commit(self, site: str, commit: Commit) -> None:
        """Rows are in the history."""
        self.server.tell(one for row in _rows(commit) for one in self._of_row(site, row))

    def _of_row(self, site: str, row: IntervalRow) -> Readings:
        key = f"{site}/{row.insulator}"
        if row.span is not Span.TEN_SECONDS:
            self._totals[key] = self._totals.get(key, 0) + row.arcing_halfcycles
        return of_row(self.points, site, row, self._around.now_us(), self._totals.get(key, 0))

    def tick(self) -> None:
        """Time goes on. After a clock was stepped back it is looked at once."""
        around, now_us = self._around, self._around.now_us()
        if self._looked_us is not None and 0 <= now_us - self._looked_us < LOOK_US:
            return
        self._looked_us = now_us
        lost = self.server.station.lost
        self.server.tell(
            [
                *of_picture(self.points, around.picture(), around.lists()),
                *of_gateway(self.points, now_us, around.deaf(), lost),
            ]
        )

    def csv_text(self) -> str:
        """The point list for the control centre's engineers."""
        return csv_text(self.points, self._settings.common_address)

    @property
    def handed_over(self) -> list[HandedOver]:
        """Versions of the list that the control centre was said to have, the newest last."""
        return self._handed_over

    def hand_over(self, version: int, by: str, note: str, address: str) -> HandedOver:
        """Somebody says that the control centre has a version now. Raises HandOverRefused,
        BookFault."""
        around = self._around
        with self._one_at_a_time:
            last = (self._handed_over or [NOT_YET])[-1].version
            line = hand_over_line(version, self.points.version, last, by, note, address)
            fresh = handed_over(around.books.append(HANDED_OVER, around.now_us(), [line]))
            self._handed_over = [*self._handed_over, *fresh]
        around.changed()
        return fresh[-1]

    def told(self) -> OutstationTold:
        """How it stands."""
        kept = self.server.station
        return OutstationTold(
            listens=f"{self._settings.host}:{self.server.port or self._settings.port}",
            masters=self.server.masters,
            transferring=self.server.data_link is not None,
            waiting=len(kept.events),
            events=kept.numbers,
            events_lost=kept.lost,
            points=len(kept.slots),
            points_version=self.points.version,
            handed_over=(self._handed_over or [NOT_YET])[-1].version,
            common_address=self._settings.common_address,
            tls=self._settings.tls is not None,
        )


def _brought_up(around: Around) -> PointList:
    """The list as the book has it, after subjects that came or went since."""
    held = fold(PointList(), around.books.read(BOOK))
    due = lines_due(held, around.register)
    return fold(held, around.books.append(BOOK, around.now_us(), due)) if due else held


def _totals(history: History, register: Mapping[str, Site]) -> dict[str, int]:
    """Arcing half-cycles of each registered insulator since its first record."""
    found: dict[str, int] = {}
    known = set(history.sites())
    for site, of in register.items():
        if site not in known:
            continue
        reader = history.reader(site)
        try:
            for unit in of.units.values():
                for one in unit.insulators:
                    sums = reader.exposure(one, 0, END_US)
                    found[f"{site}/{one}"] = sums["arcing_halfcycles"] or 0
        finally:
            reader.close()
    return found


def _rows(commit: Commit) -> Iterator[IntervalRow]:
    for one in commit.entries:
        if isinstance(one.record, IntervalRow):
            yield one.record
