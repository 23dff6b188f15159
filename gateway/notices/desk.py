"""The desk of notices: plans as the alarm list goes on, keeps a book, delivers in a thread.

What is to be sent is in the book before it is tried, and its fate after; so a restart neither
forgets a notice nor sends one twice but where the power went between the two.
"""

from __future__ import annotations

import json
import logging
import threading
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from functools import partial

from edge.wire import canonical
from gateway.alarms.journal import Entry, What
from gateway.alarms.memory import AlarmList
from gateway.books import BookFault, Books
from gateway.notices import lines, memory, planning, texts
from gateway.notices.addresses import scheme_of, unsaid
from gateway.notices.calendar import day_due, next_us
from gateway.notices.facts import standings
from gateway.notices.lines import ABOUT_NONE, Line
from gateway.notices.memory import Memory
from gateway.notices.planning import Announced, Kind, Notice, Occurrence, Planned
from gateway.notices.texts import Facts
from gateway.outward_settings import Notices, Recipient

log = logging.getLogger("seafret.notices")

BOOK = "notices"
TURN_S = 1.0
"""The desk looks at the time at least this often."""

FAILING_US = 120_000_000
"""A recipient that nothing reaches for so long is a condition of the alarm list."""

TRIAL_PAUSE_US = 60_000_000
"""A trial sooner after the last one is refused: text messages cost, and people stop reading."""

Deliver = Callable[[str, Notice], str]
"""An address and a notice; "" where it was taken, else why not."""


class TrialRefused(ValueError):
    """A trial that is not sent, and why."""


@dataclass(frozen=True, slots=True)
class Around:
    """What the desk sees around it. facts: of an occurrence as it is told now, None where it is not
    listed any more. recent: announcements of a site since a moment. watched: 'n of N watched'.
    changed: told after each line of the book."""

    books: Books
    lists: Callable[[], Mapping[str, AlarmList]]
    facts: Callable[[str, int], Facts | None]
    titles: Mapping[str, str]
    recent: Callable[[str, int], Iterable[Entry]]
    watched: Callable[[], str]
    now_us: Callable[[], int]
    changed: Callable[[], None] = lambda: None


class NoticesDesk:
    """From `start` to `stop`; told of the journal from any thread."""

    def __init__(
        self, settings: Notices, addresses: Mapping[str, str], deliver: Deliver, around: Around
    ) -> None:
        """addresses: by recipient. Raises BookFault."""
        self._settings, self._addresses, self._deliver = settings, addresses, deliver
        self._around = around
        self._by_name = {one.name: one for one in settings.recipients}
        self._one_at_a_time = threading.RLock()
        before = [json.loads(one.body) for one in around.books.read(BOOK)]
        self._planned = planning.fold(Planned(), before)
        self._memory = memory.fold(Memory(), before)
        self._stopping = threading.Event()
        self._work = threading.Event()
        self._thread = threading.Thread(target=self._run, name="notices", daemon=True)
        self.failure: BaseException | None = None

    def start(self) -> None:
        """First what was announced while nobody was here to send it."""
        since_us = self._around.now_us() - planning.LATE_US
        for site in self._around.lists():
            self.on_entries(site, list(self._around.recent(site, since_us)))
        self.tick()
        self._thread.start()

    def stop(self) -> None:
        """After the notice at hand; what waits is in the book."""
        self._stopping.set()
        self._work.set()
        if self._thread.ident is not None:
            self._thread.join()

    @property
    def planned(self) -> Planned:
        """As it is now."""
        return self._planned

    @property
    def memory(self) -> Memory:
        """What was sent, and how it went."""
        return self._memory

    def scheme(self, recipient: str) -> str:
        """Of a recipient's address; the address itself is told to nobody."""
        return scheme_of(self._addresses[recipient])

    @property
    def settings(self) -> Notices:
        """Whom it tells."""
        return self._settings

    def now_us(self) -> int:
        """The gateway's time."""
        return self._around.now_us()

    def on_entries(self, site: str, entries: Sequence[Entry]) -> None:
        """The journal of a site has grown; announcements and digests are taken."""
        for entry in entries:
            if entry.what is What.ANNOUNCED:
                self._guarded(partial(self._call, site, entry))
            elif entry.what is What.DIGEST:
                self._guarded(partial(self._digest, site, entry))

    def tick(self) -> None:
        """Time goes on: escalations, ends, the daily test, tries that are due."""
        self._guarded(self._pass_time)
        if planning.due(self._planned, self._around.now_us()):
            self._work.set()

    def _guarded(self, deed: Callable[[], None]) -> None:
        """A book that cannot be written holds nothing up; the next tick tries again."""
        with self._one_at_a_time:
            try:
                deed()
            except BookFault as fault:
                log.error("%s; notices wait", fault)

    def _call(self, site: str, entry: Entry) -> None:
        now_us = self._around.now_us()
        call = Announced(
            site, entry.occurrence, entry.priority, entry.at_us, entry.late, entry.worsening
        )
        to = planning.callees(self._planned, self._settings, call, now_us)
        facts = self._around.facts(site, entry.occurrence) if to else None
        if facts is None:
            return
        which = (site, entry.occurrence)
        self._queue(to, Kind.CALL, which, call.priority, facts, "NEW", texts.call_text(facts))

    def _digest(self, site: str, entry: Entry) -> None:
        if entry.at_us < self._around.now_us() - planning.LATE_US:
            return
        to = [one for one in self._settings.recipients if one.digest]
        body = texts.digest_text(
            self._around.titles.get(site, site), entry.from_us, entry.until_us, entry.counts
        )
        subject = f"[DIGEST] {self._around.titles.get(site, site)}: the storm is over"
        calls = [
            lines.queued(one, Kind.DIGEST, (site, entry.occurrence), 0, subject, body)
            for one in to
            if planning.covers(one, site)
        ]
        self._write(calls)

    def _pass_time(self) -> None:
        now_us = self._around.now_us()
        standing = standings(self._planned.told, self._around.lists())
        waits_s = self._settings.escalate_after_s
        again = f"UNACKED {waits_s // 60}min"
        for which, told, second in list(
            planning.escalations(self._planned, self._settings, standing, now_us)
        ):
            facts = self._around.facts(*which)
            if facts is not None:
                text = texts.call_text(facts, again)
                self._queue(second, Kind.ESCALATION, which, told.priority, facts, again, text)
        for which, told, acknowledged in list(planning.ended(self._planned, standing)):
            self._clear(which, told, acknowledged, now_us)
        self._test(now_us)

    def _clear(
        self, which: Occurrence, told: planning.Told, acknowledged: bool, now_us: int
    ) -> None:
        """To those who had the beginning."""
        to = [self._by_name[name] for name in told.recipients if name in self._by_name]
        facts = Facts(**{**told.facts, "worst": tuple(told.facts["worst"])})
        text = texts.clear_text(facts, now_us, acknowledged)
        self._queue(to, Kind.CLEAR, which, told.priority, facts, "CLEARED", text)

    def _test(self, now_us: int) -> None:
        """A test that fell into a time without gateway is sent when there is one again."""
        settings = self._settings
        day = day_due(now_us, settings.test_at, settings.time_zone)
        if day <= self._planned.test_day:
            return
        following_us = next_us(now_us, settings.test_at, settings.time_zone)
        body = texts.daily_text(
            self._planned.tests + 1, self._around.watched(), now_us, following_us
        )
        calls = [
            lines.queued(one, Kind.TEST, ABOUT_NONE, 0, "[TEST] seafret notices", body, day=day)
            for one in settings.recipients
        ]
        self._write(calls)

    def _queue(
        self,
        to: Iterable[Recipient],
        kind: Kind,
        which: Occurrence,
        priority: int,
        facts: Facts,
        word: str,
        short: str,
    ) -> None:
        long_subject = texts.subject_text(facts, word)
        long_body = texts.body_text(facts, word, self._settings.console_url)
        more = {"facts": asdict(facts)} if kind is Kind.CALL else {}
        self._write(
            [
                lines.queued(one, kind, which, priority, long_subject, long_body, **more)
                if one.form == "long"
                else lines.queued(one, kind, which, priority, "", short, **more)
                for one in to
            ]
        )

    def _write(self, fresh: Iterable[Line]) -> None:
        now_us = self._around.now_us()
        whole = list(lines.numbered(fresh, self._planned.numbers, now_us))
        if whole:
            self._around.books.append(BOOK, now_us, [canonical(one) for one in whole])
            self._planned = planning.fold(self._planned, whole)
            self._memory = memory.fold(self._memory, whole)
            self._work.set()
            self._around.changed()

    def send_trial(self, by: str, address: str, to: str = "") -> None:
        """Asked for by a person, from somewhere; to one recipient, or "" for all. Raises
        TrialRefused, BookFault."""
        chosen = [one for one in self._settings.recipients if to in ("", one.name)]
        if not chosen:
            raise TrialRefused(f"no recipient {to[:64]!r}; the settings name those there are")
        with self._one_at_a_time:
            now_us, asked = self._around.now_us(), self._memory.asked
            if asked and 0 <= now_us - asked[-1].at_us < TRIAL_PAUSE_US:
                raise TrialRefused(
                    f"{asked[-1].by} asked for one less than a minute ago; wait for what came of it"
                )
            body = texts.trial_text(by, self._around.watched(), now_us)
            subject = "[TRIAL] seafret notices"
            trial = [lines.queued(one, Kind.TRIAL, ABOUT_NONE, 0, subject, body) for one in chosen]
            self._write([lines.asked(by, address, to), *trial])

    def _run(self) -> None:
        try:
            while not self._stopping.is_set():
                self._work.wait(TURN_S)
                self._work.clear()
                self._try_due()
        except BaseException as fault:
            self.failure = fault
            raise

    def _try_due(self) -> None:
        for notice in planning.due(self._planned, self._around.now_us()):
            if self._stopping.is_set():
                return
            address = self._addresses.get(notice.recipient)
            why = "no longer in the settings"
            if address is not None:
                why = unsaid(self._deliver(address, notice), address)
            if why:
                log.warning("notice %d to %s: %s", notice.number, notice.recipient, why)
            what = "failed" if why else "delivered"
            line = {"what": what, "number": notice.number, "why": why}
            self._guarded(partial(self._write, [line]))

    def failing(self) -> dict[str, int]:
        """Recipients that nothing has reached for long, and since when."""
        now_us = self._around.now_us()
        return {
            name: since_us
            for name, since_us in self._planned.failing.items()
            if now_us - since_us >= FAILING_US and name in self._by_name
        }
