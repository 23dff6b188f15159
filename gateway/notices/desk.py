"""The desk of notices: plans as the alarm list goes on, keeps a book, delivers in a thread.

What is to be sent is in the book before it is tried, and its fate after; so a restart neither
forgets a notice nor sends one twice but where the power went, or the disk was full, between.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from functools import partial

from gateway.alarms.journal import Entry, What
from gateway.alarms.memory import AlarmList
from gateway.books import BookFault, Books
from gateway.notices import lines, planning, texts
from gateway.notices.addresses import scheme_of, unsaid
from gateway.notices.calendar import day_due, next_us
from gateway.notices.facts import standings
from gateway.notices.lines import ABOUT_NONE, Line
from gateway.notices.memory import Memory
from gateway.notices.notebook import Notebook
from gateway.notices.planning import Announced, Kind, Notice, Occurrence, Planned
from gateway.notices.texts import Facts
from gateway.outward_settings import Notices, Recipient

log = logging.getLogger("seafret.notices")

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
        self._book = Notebook(around.books, around.now_us, around.changed)
        self._one_at_a_time = self._book.one_at_a_time
        self._unwritten: list[Callable[[], None]] = []
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
        return self._book.planned

    @property
    def memory(self) -> Memory:
        """What was sent, and how it went."""
        return self._book.memory

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
                self._told_of(partial(self._call, site, entry))
            elif entry.what is What.DIGEST:
                self._told_of(partial(self._digest, site, entry))

    def tick(self) -> None:
        """Time goes on: escalations, ends, the daily test, tries that are due."""
        with self._one_at_a_time:
            again, self._unwritten = self._unwritten, []
            for deed in again:
                self._told_of(deed)
        self._guarded(self._book.settle)
        self._guarded(self._pass_time)
        if planning.due(self.planned, self._around.now_us()):
            self._work.set()

    def _told_of(self, deed: Callable[[], None]) -> None:
        """The journal tells a thing once: until it is written, or too late, each tick tries."""
        with self._one_at_a_time:
            if not self._guarded(deed):
                self._unwritten.append(deed)

    def _guarded(self, deed: Callable[[], None]) -> bool:
        """A book that cannot be written holds nothing up; whether it could be."""
        with self._one_at_a_time:
            try:
                deed()
            except BookFault as fault:
                log.error("%s; notices wait", fault)
                return False
        return True

    def _call(self, site: str, entry: Entry) -> None:
        now_us = self._around.now_us()
        call = Announced(
            site, entry.occurrence, entry.priority, entry.at_us, entry.late, entry.worsening
        )
        to = planning.callees(self.planned, self._settings, call, now_us)
        facts = self._around.facts(site, entry.occurrence) if to else None
        if facts is None:
            return
        which = (site, entry.occurrence)
        self._queue(to, Kind.CALL, which, call.priority, facts, "NEW", texts.call_text(facts))

    def _digest(self, site: str, entry: Entry) -> None:
        late = entry.at_us < self._around.now_us() - planning.LATE_US
        if late or entry.until_us <= self.planned.digest_us.get(site, 0):
            return
        wanted = [one for one in self._settings.recipients if one.digest]
        to = [one for one in wanted if planning.covers(one, site)]
        title = self._around.titles.get(site, site)
        body = texts.digest_text(title, entry.from_us, entry.until_us, entry.counts)
        subject = f"[DIGEST] {title}: the storm is over"
        which, until = (site, entry.occurrence), {"until_us": entry.until_us}
        self._write(lines.queued(one, Kind.DIGEST, which, 0, subject, body, **until) for one in to)

    def _pass_time(self) -> None:
        now_us = self._around.now_us()
        standing = standings(self.planned.told, self._around.lists())
        waits_s = self._settings.escalate_after_s
        again = f"UNACKED {waits_s // 60}min"
        for which, told, second in list(
            planning.escalations(self.planned, self._settings, standing, now_us)
        ):
            facts = self._around.facts(*which)
            if facts is not None:
                text = texts.call_text(facts, again)
                self._queue(second, Kind.ESCALATION, which, told.priority, facts, again, text)
        for which, told, acknowledged in list(planning.ended(self.planned, standing)):
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
        if day <= self.planned.test_day:
            return
        following_us = next_us(now_us, settings.test_at, settings.time_zone)
        body = texts.daily_text(
            self.planned.tests + 1, self._around.watched(), now_us, following_us
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
        if self._book.write(fresh):
            self._work.set()

    def send_trial(self, by: str, address: str, to: str = "") -> None:
        """Asked for by a person, from somewhere; to one recipient, or "" for all. Raises
        TrialRefused, BookFault."""
        chosen = [one for one in self._settings.recipients if to in ("", one.name)]
        if not chosen:
            raise TrialRefused(f"no recipient {to[:64]!r}; the settings name those there are")
        with self._one_at_a_time:
            now_us, asked = self._around.now_us(), self.memory.asked
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
        for notice in planning.stale(self.planned, self._around.now_us()):
            self._note(notice, planning.NOT_IN_TIME, tried=False)
        for notice in planning.due(self.planned, self._around.now_us()):
            if self._stopping.is_set():
                return
            address = self._addresses.get(notice.recipient)
            why = "no longer in the settings"
            if address is not None:
                why = unsaid(self._deliver(address, notice), address)
            self._note(notice, why)

    def _note(self, notice: Notice, why: str, tried: bool = True) -> None:
        if why:
            log.warning("notice %d to %s: %s", notice.number, notice.recipient, why)
        self._book.note(lines.fate(notice.number, why, tried))
        self._guarded(self._book.settle)

    def failing(self) -> dict[str, int]:
        """Recipients that nothing has reached for long, and since when."""
        now_us = self._around.now_us()
        return {
            name: since_us
            for name, since_us in self.planned.failing.items()
            if now_us - since_us >= FAILING_US and name in self._by_name
        }
