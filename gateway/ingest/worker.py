"""The ingest thread: take, judge and commit, acknowledge, receipt; in that order, always."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, TypeVar

from gateway.clock import Clock
from gateway.history.store import HistoryFault, SecurityEvent, StreamKey
from gateway.ingest import questions
from gateway.ingest.epochs import latest_marks
from gateway.ingest.fair_inbox import FLOOD_LOOK_S, flooding
from gateway.ingest.intake import Arrival, Intake, Standing
from gateway.ingest.questions import Questions
from gateway.ingest.receipts import Book, after_commit, greeted, on_time, welcome
from gateway.ingest.subscription import Delivery, Subscription, UnitState, read_state
from gateway.ingest.topics import unit_of

if TYPE_CHECKING:  # it needs the driver of the database, which a gateway over files has not
    from gateway.ingest.beside import Beside
    from gateway.ingest.holding import Holding

log = logging.getLogger("seafret.ingest")

FoundT = TypeVar("FoundT")

WAIT_S = 0.5
"""Longest wait for a message before due repeats are looked for."""

STORE_RETRY_S = (0.5, 30.0)
"""First and longest wait before a commit that failed is tried again; until then nothing is
receipted and the units keep what they have."""


class Ingest(threading.Thread):
    """past_epochs: unit and epoch of those to be asked about. on_state: told what state topics say.
    on_end: told how it ended, None when asked to. rounds: how often it came round. holding: the
    units that are this program's, where several programs share them; None is all of them."""

    def __init__(
        self,
        subscription: Subscription,
        intake: Intake,
        clock: Clock,
        past_epochs: Sequence[tuple[str, str]],
        on_state: Callable[[UnitState], None],
        on_end: Callable[[BaseException | None], None],
        holding: Holding | Beside | None = None,
    ) -> None:
        super().__init__(name="ingest", daemon=True)
        self._holding = holding
        self._subscription = subscription
        self._intake = intake
        self._clock = clock
        self._past_epochs = past_epochs
        self._on_state = on_state
        self._on_end = on_end
        self._asked_to_stop = threading.Event()
        self._shed_since_s = clock.steady_s()
        self.store_fault = ""
        self.rounds = 0

    def stop(self) -> None:
        """Ends after the commit at hand."""
        self._asked_to_stop.set()
        self.join()

    def run(self) -> None:
        """The loop; a fault that is not the store's ends it and is handed on."""
        fault: BaseException | None = None
        try:
            self._loop()
        except BaseException as caught:
            fault = caught
        finally:
            self._intake.close()
            self._on_end(fault)

    def _loop(self) -> None:
        now_s = self._clock.steady_s()
        book = Book()
        asking = questions.raised(Questions(), self._past_epochs, now_s)
        subscribed = 0
        while not self._asked_to_stop.is_set():
            if self._change_hands():
                book = Book(self._ours(book.streams))
            deliveries = self._subscription.take(WAIT_S)
            arrivals, online = self._sorted_out(deliveries)
            standings = self._commit(arrivals)
            if standings is None:
                return
            self._subscription.acknowledge(deliveries)
            now_s, now_us = self._clock.steady_s(), self._clock.utc_us()
            if self._subscription.subscribed != subscribed:
                subscribed = self._subscription.subscribed
                book = greeted(book, latest_marks(self._ours(self._intake.marks)), now_s)
            book, answers = after_commit(book, standings, now_s, now_us)
            book, repeats = on_time(book, now_s)
            asking = questions.heard(asking, standings, (one.unit for one in online), now_s)
            for one in online:
                answers = (*answers, *welcome(one.unit, one.epoch, self._intake.marks))
            self._subscription.send((*answers, *repeats))
            if self._subscription.connected.is_set():
                marks = self._ours(self._intake.marks)
                asking, asks = questions.asked(asking, marks, now_s, now_us)
                self._subscription.send(asks)
            self._look_for_floods(now_s)

    def _change_hands(self) -> bool:
        """Before more is heard: the units that are this program's now, and where they stand."""
        if self._holding is None or not self._holding.take_change():
            return False
        self._intake.is_stale = True
        self._subscription.hear(frozenset(self._holding.tokens))
        return True

    def _ours(self, streams: Mapping[StreamKey, FoundT]) -> Mapping[StreamKey, FoundT]:
        if self._holding is None:
            return streams
        return {key: one for key, one in streams.items() if key.unit in self._holding.tokens}

    def _is_ours(self, unit: str) -> bool:
        return self._holding is None or unit in self._holding.tokens

    def _look_for_floods(self, now_s: float) -> None:
        elapsed_s = now_s - self._shed_since_s
        if elapsed_s < FLOOD_LOOK_S:
            return
        self._shed_since_s = now_s
        for unit, count in flooding(self._subscription.take_shed(), elapsed_s).items():
            detail = f"{count} messages shed unread within {elapsed_s:.0f} s"
            event = SecurityEvent(self._clock.utc_us(), unit, "flood", detail, count)
            self._intake.notices.put(event)

    def _sorted_out(self, deliveries: Sequence[Delivery]) -> tuple[list[Arrival], list[UnitState]]:
        """Measurements, and the units that say that they are online."""
        found, online = [], []
        for delivery in deliveries:
            state = read_state(delivery.arrival)
            if state is None:
                found.append(delivery.arrival)
                continue
            self._on_state(state)
            if self._holding is not None:
                self._holding.see(state.unit)
            if state.state == "online" and state.epoch and self._is_ours(state.unit):
                online.append(state)
        return found, online

    def _commit(self, arrivals: Sequence[Arrival]) -> tuple[Standing, ...] | None:
        """Commits, trying again for as long as the store cannot; None when asked to stop."""
        wait_s, longest_s = STORE_RETRY_S
        while not self._asked_to_stop.is_set():
            self.rounds += 1
            self._change_hands()
            ours = [one for one in arrivals if self._is_ours(unit_of(one.topic))]
            try:
                standings = self._intake.commit(ours, self._clock.utc_us())
                self.store_fault = ""
                return standings
            except HistoryFault as fault:
                self.store_fault = str(fault)
                log.error("%s; trying again in %.1f s, nothing is receipted", fault, wait_s)
                self._asked_to_stop.wait(wait_s)
                wait_s = min(2 * wait_s, longest_s)
        return None
