"""The desk of limits: the book kept durable, sheets sent until they are confirmed.

A line is on the disk before what it says is done. Sending is repeated, so nothing depends on one
message; a unit that was away gets its sheet when it is back.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from edge.limits import VERB, letter
from edge.records import UnitEvent
from edge.settings import Settings
from gateway.books import BookFault, Books
from gateway.history.store import Commit, History
from gateway.ingest.topics import down_topic, site_of
from gateway.limits.book import BOOK, GATEWAY, Line, What, line_body, read_line
from gateway.limits.changing import Change, ChangeRefused, Propose, RollBack, change, sheet
from gateway.limits.faults import Fault, fault_of
from gateway.limits.hearing import STARTED, heard
from gateway.limits.preview import Preview, Progress, plan_of, preview
from gateway.limits.versions import Held, Status, UnitLimits, Version, fold
from gateway.settings import Site

log = logging.getLogger("seafret.limits")

AGAIN_US = 60_000_000
"""A sheet that is not confirmed is sent again this often."""

VALID_US = 600_000_000
"""A sheet that reaches its unit later than this is refused by it and sent again."""

LOOKED_BACK_US = 92 * 86_400_000_000
"""A preview of a longer time is refused: it would hold the gateway up."""

Send = Callable[[str, bytes], None]
"""A topic and its payload, to the broker, QoS 1; may be lost."""


@dataclass(frozen=True, slots=True)
class Around:
    """What the desk sees around it. copies: of the units' settings files, where they are at hand.
    records_sha: hash of the settings that a unit's newest health record was made with. changed:
    told after every line of the book."""

    books: Books
    history: History
    register: Mapping[str, Site]
    copies: Mapping[str, Settings]
    send: Send
    now_us: Callable[[], int]
    records_sha: Callable[[str], str]
    changed: Callable[[], None] = lambda: None


class LimitsDesk:
    """Folds changes and what units say; may be asked from any thread. Raises BookFault, LineFault
    on opening."""

    def __init__(self, around: Around) -> None:
        self._around = around
        self._one_at_a_time = threading.RLock()
        self._held: Held = fold({}, (read_line(one.body) for one in around.books.read(BOOK)))
        self._sent_us: dict[tuple[str, int], int] = {}
        self._registered = frozenset(
            f"{site}.{one}" for site, of in around.register.items() for one in of.units
        )

    def units(self) -> tuple[str, ...]:
        """Registered units, and those that have versions."""
        return tuple(sorted(self._registered | set(self._held)))

    def has(self, unit: str) -> bool:
        """Whether there is such a unit."""
        return unit in self._registered or unit in self._held

    def units_of(self, site: str) -> tuple[str, ...]:
        """The same of one site."""
        named = {f"{site}.{one}" for one in self._around.register.get(site, Site()).units}
        return tuple(sorted(named | {one for one in self._held if site_of(one) == site}))

    def of(self, unit: str) -> UnitLimits:
        """A unit's limits as they are. Raises ChangeRefused where there is no such unit."""
        if not self.has(unit):
            raise ChangeRefused(f"no unit {unit[:65]!r}; see the list of units")
        return self._held.get(unit, UnitLimits(unit))

    def fault(self, unit: str) -> Fault | None:
        """What is wrong with a unit's limits now."""
        around = self._around
        return fault_of(self.of(unit), around.records_sha(unit), around.now_us())

    def change(self, asked: Change) -> Version:
        """A person's change, durable on return and on its way. Raises ChangeRefused, BookFault."""
        with self._one_at_a_time:
            limits = self.of(asked.unit)
            line = change(limits, asked)
            if isinstance(asked, Propose | RollBack):
                drafted = fold({asked.unit: limits}, [line])[asked.unit].versions[line.version]
                plan_of(drafted, self.insulators(asked.unit), self._around.copies.get(asked.unit))
            self._write(line)
            self._send_due(asked.unit)
            return self._held[asked.unit].versions[line.version]

    def preview(
        self, version: Version, from_us: int, to_us: int, progress: Progress = lambda at_us: None
    ) -> Preview:
        """What a version would have done. Raises ChangeRefused, HistoryFault."""
        if not 0 < to_us - from_us <= LOOKED_BACK_US:
            days = LOOKED_BACK_US // 86_400_000_000
            raise ChangeRefused(f"the time must end after it begins, within {days} days")
        reader = self._around.history.reader(site_of(version.unit))
        try:
            copy = self._around.copies.get(version.unit)
            insulators = self.insulators(version.unit)
            return preview(reader, version, insulators, copy, from_us, to_us, progress)
        finally:
            reader.close()

    def insulators(self, unit: str) -> tuple[str, ...]:
        """Those that a unit watches, by the copy of its settings, else by the register."""
        copy = self._around.copies.get(unit)
        if copy is not None:
            return tuple(one.id for one in copy.insulator)
        site, _, monitor = unit.partition(".")
        registered = self._around.register.get(site, Site()).units.get(monitor)
        return () if registered is None else registered.insulators

    def copy(self, unit: str) -> Settings | None:
        """The copy of a unit's settings file, None where there is none at hand."""
        return self._around.copies.get(unit)

    def now_us(self) -> int:
        """The gateway's time."""
        return self._around.now_us()

    def on_commit(self, site: str, commit: Commit) -> None:
        """What units say of their limits, once it is in the history."""
        for one in commit.entries:
            if isinstance(one.record, UnitEvent):
                self._hear(one.key.unit, one.record)

    def _hear(self, unit: str, event: UnitEvent) -> None:
        with self._one_at_a_time:
            now_us = self._around.now_us()
            if event.event == STARTED:
                self._forget_sending(unit)
            line = heard(self._held.get(unit, UnitLimits(unit)), event, now_us)
            if line is None:
                self._send_due(unit)
                return
            try:
                self._write(line)
            except BookFault as fault:
                log.error("%s; the unit will be asked again", fault)
                return
            log.info("%s: limits %s, version %d %s", unit, line.what, line.version, line.reason)
            if line.what is What.FOUND:
                self._forget_sending(unit)
            self._send_due(unit)

    def _forget_sending(self, unit: str) -> None:
        """What was sent may have met nobody: it goes out again at once."""
        self._sent_us = {key: at for key, at in self._sent_us.items() if key[0] != unit}

    def tick(self) -> None:
        """Sends again what is due."""
        with self._one_at_a_time:
            for unit in self._held:
                self._send_due(unit)

    def _send_due(self, unit: str) -> None:
        limits, now_us = self._held.get(unit, UnitLimits(unit)), self._around.now_us()
        wanted = limits.of(limits.wanted)
        if wanted is None or limits.in_force == wanted.number or wanted.status is Status.REFUSED:
            return
        last_us = self._sent_us.get((unit, wanted.number))
        if last_us is not None and 0 <= now_us - last_us < AGAIN_US:
            return
        self._sent_us[unit, wanted.number] = now_us
        self._around.send(down_topic(unit, VERB), letter(sheet(wanted), now_us + VALID_US))
        if not wanted.sent_us:
            self._note_sent(wanted, now_us)

    def _note_sent(self, version: Version, now_us: int) -> None:
        try:
            self._write(
                Line(
                    at_us=now_us,
                    what=What.SENT,
                    who=GATEWAY,
                    unit=version.unit,
                    version=version.number,
                )
            )
        except BookFault as fault:
            log.error("%s; the sheet is on its way all the same", fault)

    def _write(self, line: Line) -> None:
        self._around.books.append(BOOK, line.at_us, [line_body(line)])
        self._held = fold(self._held, [line])
        self._around.changed()
