"""The gateway as one service: broker client, ingest thread, API, over one data folder."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Sequence

from gateway.alarms.journal import Entry
from gateway.clock import Clock, steady_s
from gateway.console.app import create_app
from gateway.console.desk import AlarmDesk, Around
from gateway.console.entering import open_entrance
from gateway.console.feed import Feed
from gateway.console.recall import recall
from gateway.console.serving import ApiServer
from gateway.console.sources import Sources, Standing
from gateway.console.summary import Summary, fold, with_link
from gateway.guard.watching import Guard, told_until_s
from gateway.history.opening import Histories, settled
from gateway.history.store import Commit
from gateway.ingest.beside import Beside
from gateway.ingest.epochs import to_ask_about
from gateway.ingest.intake import Intake
from gateway.ingest.reading_again import read_again
from gateway.ingest.receipts import Outgoing
from gateway.ingest.subscription import Subscription, UnitState
from gateway.ingest.topics import site_of
from gateway.ingest.worker import Ingest
from gateway.keeping import Keeper
from gateway.outworks import Outworks, Ways
from gateway.repeating import Repeating
from gateway.settings import Settings

log = logging.getLogger("seafret.gateway")

TICK_S = 2.0
"""Real seconds between two looks of the alarm desk at the time; a commit makes one of its own."""


LOOK_S = 0.2
"""Between two looks of the main thread at the others."""


class Ticker(Repeating):
    """Tells the alarm desk that time goes on, and those after it."""

    def __init__(
        self,
        desk: AlarmDesk,
        after: Callable[[], None],
        on_end: Callable[[BaseException | None], None],
    ) -> None:
        super().__init__("alarms", TICK_S, TICK_S, on_end)
        self._desk = desk
        self._after = after

    def round(self) -> None:
        """One tick."""
        self._desk.tick()
        self._after()


class Gateway:
    """Composition only. The caller holds the data folder's lock."""

    def __init__(self, settings: Settings) -> None:
        self._settings = settings
        self._clock = Clock(
            settings.clock.rate, settings.clock.real_origin_us, settings.clock.shown_origin_us
        )
        self._ended = threading.Event()
        self._fault: BaseException | None = None
        self._summary = Summary()
        at = settings.history
        history = settled(settings.data, *((at.address, at.password_file) if at else (None, None)))
        shared = at is not None and at.workers
        heard = frozenset[str]() if shared else None
        self._subscription = Subscription(settings.broker, self._clock, heard)
        self._feed = Feed()
        self._entrance = open_entrance(settings.console, settings.data, Clock().utc_us)
        sources = self._sources(history)
        self._outworks = Outworks(settings, sources, self._ways())
        try:
            app = create_app(sources, settings.console, self._entrance, self._outworks.rooms())
            self._api = ApiServer(app, settings.console, self._feed)
        except BaseException:
            self._outworks.stop()
            self._entrance.close()
            raise
        self.address = self._api.address
        try:
            self._intake = Intake(history, settings.sites, self._on_commit)
            self._beside = self._new_beside(history) if shared else None
            read_again(history, self._intake, settings.sites)
            self._summary = recall(history, settings.sites, self._clock.utc_us())
            self._desk = AlarmDesk(self._around(history))
        except BaseException:
            self._api.stop()
            self._outworks.stop()
            self._entrance.close()
            raise
        self._ticker = Ticker(self._desk, self._outworks.tick, self._on_end)
        self._ingest = self._new_ingest(history)
        self._keeper = self._new_keeper()
        self._guard = Guard(
            settings,
            told_until_s(history),
            self._clock.utc_us,
            lambda: {"ingest": self._ingest.rounds, "alarms": self._ticker.rounds},
            self._intake.notices.put,
        )

    def _new_ingest(self, history: Histories) -> Ingest:
        alone = self._beside is None
        return Ingest(
            self._subscription,
            self._intake,
            self._clock,
            to_ask_about(history, self._intake.marks) if alone else (),
            self._on_state,
            self._on_end,
            self._beside,
        )

    def _new_beside(self, history: Histories) -> Beside:
        """From before the summary and the lists are read: a line heard twice changes nothing."""
        known = self._intake.marks
        return Beside(history, self._settings.sites, known, self._on_commit)

    def _new_keeper(self) -> Keeper:
        days, sites = self._settings.retention.keep_days, self._settings.sites
        return Keeper(sites, self._intake.writer, days, self._clock.utc_us, self._on_end)

    def _sources(self, history: Histories) -> Sources:
        return Sources(
            summary=lambda: self._summary,
            standing=lambda: Standing(
                self._subscription.connected.is_set(), self._ingest.store_fault
            ),
            now_us=self._clock.utc_us,
            history=history,
            register=self._settings.sites,
            stale_after_us=round(self._settings.watch.stale_after_s * 1_000_000),
            desk=lambda: self._desk,
            feed=self._feed,
            data=self._settings.data,
            rate=self._settings.clock.rate,
        )

    def _around(self, history: Histories) -> Around:
        return Around(
            history=history,
            writer=self._intake.writer,
            register=self._settings.sites,
            summary=lambda: self._summary,
            now_us=self._clock.utc_us,
            deaf=self._is_deaf,
            stale_after_us=round(self._settings.watch.stale_after_s * 1_000_000),
            judge=self._outworks.judge,
            on_entries=self._on_entries,
        )

    def _ways(self) -> Ways:
        return Ways(
            send=lambda topic, payload: self._subscription.send([Outgoing(topic, payload, 1)]),
            beat=self._subscription.beat,
            rounds=lambda: {"ingest": self._ingest.rounds, "alarms": self._ticker.rounds},
        )

    def _is_deaf(self) -> bool:
        return not self._subscription.connected.is_set() or bool(self._ingest.store_fault)

    def start(self) -> None:
        """Returns when the API answers; the broker may still be away."""
        self._api.start()
        self._outworks.start()
        self._ingest.start()
        self._ticker.start()
        self._keeper.start()
        self._subscription.start()
        self._guard.start()

    def wait(self, asked_to_stop: threading.Event) -> None:
        """Until asked to stop; raises what ended the ingest, if something did."""
        while not asked_to_stop.wait(LOOK_S):
            self._guard.look(steady_s())
            self._subscription.check_thread()
            self._outworks.check_threads()
            if self._ended.is_set():
                break
        if self._fault is not None:
            raise self._fault

    def stop(self) -> None:
        """Ends in the order of the data: no more messages, the last commit, the API."""
        self._guard.stop()
        self._subscription.stop()
        self._ticker.stop()
        self._keeper.stop()
        if self._ingest.ident is None:
            self._intake.close()
        else:
            self._ingest.stop()
        if self._beside is not None:
            self._beside.close()
        self._api.stop()
        self._outworks.stop()
        self._entrance.close()

    def _on_commit(self, site: str, commit: Commit) -> None:
        self._summary = fold(self._summary, site, commit)
        self._desk.on_commit(site, commit)
        self._outworks.on_commit(site, commit)
        self._feed.touch([f"site:{site}"])

    def _on_entries(self, site: str, entries: Sequence[Entry]) -> None:
        self._feed.touch([f"site:{site}", "alarms"])
        self._outworks.on_entries(site, entries)

    def _on_state(self, state: UnitState) -> None:
        site = site_of(state.unit)
        if site in self._settings.sites:
            self._summary = with_link(self._summary, site, state.unit, state.state)
            self._feed.touch([f"site:{site}"])

    def _on_end(self, fault: BaseException | None) -> None:
        self._fault = fault
        self._ended.set()
