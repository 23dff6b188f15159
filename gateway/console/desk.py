"""The alarm desk: the pure alarm lists of all sites, kept durable and told the time.

An entry is on the disk before what it says is shown. Where the journal cannot be written, the list
stays as it was and the lines of the units are read again from the history at a later tick; nothing
that was heard is lost.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from edge.records import ConditionChange, EpochStart, LineStatus, Loss, Stream
from gateway.alarms.actions import Action
from gateway.alarms.alarm_list import Heard, Input, Judged, Restarted, step
from gateway.alarms.folding import fold
from gateway.alarms.journal import Entry as JournalEntry
from gateway.alarms.journal import JournalFault, entry_line, read_entry
from gateway.alarms.memory import AlarmList
from gateway.alarms.sight import Sight
from gateway.alarms.silence import Listening, UnitFacts, judge_silence, listen, sights
from gateway.console.picture import picture
from gateway.console.summary import SiteNow, Summary, UnitNow
from gateway.history.store import (
    Commit,
    Entry,
    History,
    HistoryFault,
    JournalLine,
    SiteReader,
    SiteWriter,
)
from gateway.settings import Site

log = logging.getLogger("seafret.alarms")

JOURNAL_PAGE = 5000
"""Lines of the journal that are read at a time."""


Judge = Callable[[str, AlarmList, int], Iterable[tuple[str, ConditionChange]]]
"""Of a site, its list and the time: unit and change of each condition that the gateway itself found
to have begun or ended."""


def _finds_nothing(
    site: str, held: AlarmList, now_us: int
) -> Iterable[tuple[str, ConditionChange]]:
    """Where the gateway judges nothing but silence."""
    return ()


def _nobody(site: str, entries: Sequence[JournalEntry]) -> None:
    """Where nobody wants to be told."""


@dataclass(frozen=True, slots=True)
class Around:
    """What the desk sees around it. deaf: the gateway has no broker, or cannot store. on_entries:
    told a site's new journal entries once they are durable and shown; it must return at once."""

    history: History
    writer: Callable[[str], SiteWriter]
    register: Mapping[str, Site]
    summary: Callable[[], Summary]
    now_us: Callable[[], int]
    deaf: Callable[[], bool]
    stale_after_us: int
    judge: Judge = _finds_nothing
    on_entries: Callable[[str, Sequence[JournalEntry]], None] = _nobody


class AlarmDesk:
    """Folds commits, ticks and actions; may be asked from any thread."""

    def __init__(self, around: Around) -> None:
        self._around = around
        self._one_at_a_time = threading.Lock()
        self._lists: dict[str, AlarmList] = {}
        self._calling: dict[str, AlarmList] = {}
        self._listening = {site: Listening() for site in around.register}
        self._behind: set[str] = set()
        for site in around.register:
            self._recall(site)

    def lists(self) -> Mapping[str, AlarmList]:
        """The lists as they are; what is given stays as it is."""
        return self._lists

    def on_commit(self, site: str, commit: Commit) -> None:
        """After a site's commit is durable. Does not raise for a journal that cannot be written."""
        if site not in self._lists:
            return
        heard = [_heard(one, commit.at_us) for one in commit.entries if _is_alarm_line(one)]
        if heard:
            with self._one_at_a_time:
                if site not in self._behind:
                    self._try(site, heard)
                self._try_tick(site)

    def tick(self) -> None:
        """Time goes on, for every site."""
        for site in self._around.register:
            with self._one_at_a_time:
                self._try_tick(site)

    def act(self, site: str, action: Action) -> None:
        """A person's action, durable on return. Raises ActionRefused, and HistoryFault where it
        cannot be written; then nothing has changed."""
        with self._one_at_a_time:
            self._advance(site, [action])
            self._try_tick(site)

    def journal(
        self, site: str, after: int = 0, start_us: int = 0, limit: int = JOURNAL_PAGE
    ) -> list[JournalEntry]:
        """Entries numbered above `after` and not before `start_us`. Raises HistoryFault."""
        reader = self._around.history.reader(site)
        try:
            return [_read(site, line) for line in reader.journal(after, start_us, limit)]
        finally:
            reader.close()

    def _recall(self, site: str) -> None:
        held = AlarmList(site)
        while page := self.journal(site, held.numbers):
            held = fold(held, page)
        self._lists[site] = held
        self._note_calling(site, held)
        now_us = self._around.now_us()
        reader = self._around.history.reader(site)
        try:
            received = (mark.received_us for mark in reader.marks().values())
            blind_from_us = max(received, default=0)
        finally:
            reader.close()
        if held.numbers or blind_from_us:
            self._advance(site, [Restarted(now_us, blind_from_us or now_us)])
        self._catch_up(site)

    def _catch_up(self, site: str) -> None:
        """Lines of the units that the list has not heard yet, from the history."""
        reader = self._around.history.reader(site)
        try:
            heard = list(_unheard(reader, self._lists[site]))
        finally:
            reader.close()
        self._advance(site, heard)

    def _try(self, site: str, given: Iterable[Input]) -> None:
        try:
            self._advance(site, given)
        except HistoryFault as fault:
            self._behind.add(site)
            log.error("alarms of %s: %s; they are read again from the history", site, fault)

    def _try_tick(self, site: str) -> None:
        try:
            if site in self._behind:
                self._catch_up(site)
                self._behind.discard(site)
            self._tick(site)
        except HistoryFault as fault:
            log.error("alarms of %s: %s; trying again at the next tick", site, fault)

    def _tick(self, site: str) -> None:
        now_us, summary = self._around.now_us(), self._around.summary()
        facts = _facts(self._around.register[site], site, summary.sites.get(site, SiteNow()))
        listening = listen(self._listening[site], facts, now_us, self._around.deaf())
        self._listening[site] = listening
        silences = judge_silence(self._lists[site], listening, facts, now_us)
        told = picture(
            summary, {site: self._around.register[site]}, now_us, self._around.stale_after_us
        )
        sight = Sight(
            now_us,
            told.sites[0].insulators,
            told.sites[0].watched,
            {
                one.insulator: one.row.arcing_peak_ua
                for one in told.insulators
                if one.row is not None and one.watched
            },
            sights(listening, facts),
            self._called_elsewhere(site),
        )
        found = [*silences, *self._around.judge(site, self._lists[site], now_us)]
        self._advance(site, [*(Judged(now_us, *one) for one in found), sight])

    def _called_elsewhere(self, site: str) -> tuple[int, ...]:
        """What the other sites of the same position have spent of its budget."""
        register = self._around.register
        return tuple(
            one.at_us
            for other, held in self._calling.items()
            if other != site and register[other].position == register[site].position
            for one in held.recent
            if not one.worsening
        )

    def _advance(self, site: str, given: Iterable[Input]) -> None:
        held = self._lists[site]
        entries: list[JournalEntry] = []
        for one in given:
            held, more = step(held, one)
            entries += more
        if entries:
            self._around.writer(site).append_journal(
                [JournalLine(one.number, one.at_us, entry_line(one)) for one in entries]
            )
        if held is not self._lists[site]:
            self._lists = {**self._lists, site: held}
            self._note_calling(site, held)
        if entries:
            self._around.on_entries(site, entries)

    def _note_calling(self, site: str, held: AlarmList) -> None:
        """Few of many sites have called lately; only those are asked at every tick."""
        if held.recent:
            self._calling[site] = held
        else:
            self._calling.pop(site, None)


def _read(site: str, line: JournalLine) -> JournalEntry:
    try:
        return read_entry(line.body)
    except JournalFault as fault:
        raise HistoryFault(f"site {site}, line {line.number}: {fault}") from fault


def _is_alarm_line(entry: Entry) -> bool:
    return entry.key.stream is Stream.ALARM


def _heard(entry: Entry, at_us: int) -> Heard:
    """A loss in the alarm stream may have held an 'out': then nobody will say it again."""
    record = entry.record
    return Heard(
        at_us,
        entry.key.unit,
        entry.key.epoch,
        entry.seq,
        record if isinstance(record, ConditionChange) else None,
        began_anew=isinstance(record, EpochStart | Loss),
        reason=record.reason if isinstance(record, EpochStart | Loss) else "",
    )


def _unheard(reader: SiteReader, held: AlarmList) -> Iterator[Heard]:
    """In order of the streams' first sight, so that a unit's epochs follow one another."""
    for key, mark in sorted(reader.marks().items(), key=lambda one: one[1].order):
        if key.stream is not Stream.ALARM:
            continue
        after = held.heard.get((key.unit, key.epoch), 0)
        while after < mark.upto and (page := reader.lines(key, after)):
            yield from (_heard(one, mark.received_us) for one in page)
            after = page[-1].seq


def _facts(registered: Site, site: str, now: SiteNow) -> dict[str, UnitFacts]:
    names = {f"{site}.{monitor}" for monitor in registered.units} | set(now.units)
    return {name: _unit_facts(now.units.get(name, UnitNow())) for name in sorted(names)}


def _unit_facts(unit: UnitNow) -> UnitFacts:
    status = None if unit.health is None else unit.health.line_status
    return UnitFacts(unit.heard_us, unit.newest_us, status is LineStatus.OUT_OF_SERVICE)
