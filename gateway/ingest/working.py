"""A worker: one of several programs that ingest for one database, each its own units.

It has no console and no alarm list; those stand beside it and read the database.
"""

from __future__ import annotations

import threading

from gateway.clock import Clock
from gateway.history.postgres_leases import Fence, Leases
from gateway.history.postgres_store import PostgresHistory, password_in
from gateway.history.store import HistoryFault
from gateway.ingest.holding import Holding
from gateway.ingest.intake import Intake
from gateway.ingest.subscription import Subscription
from gateway.ingest.worker import Ingest
from gateway.settings import Settings

LOOK_S = 0.2
"""Between two looks of the main thread at the others."""


class Worker:
    """Composition only. name: no two workers of a database may have the same."""

    def __init__(self, settings: Settings, name: str) -> None:
        if settings.history is None or not settings.history.workers:
            raise HistoryFault(
                "the settings say nothing of workers: several need a database, [history] with "
                "workers = true, so that the gateway leaves the units to them"
            )
        self._fault: BaseException | None = None
        self._ended = threading.Event()
        at, fence = settings.history, Fence(name)
        password = None if at.password_file is None else password_in(at.password_file)
        history = PostgresHistory(at.address, password, fence)
        known = [
            f"{site}.{monitor}" for site, one in settings.sites.items() for monitor in one.units
        ]
        leases = Leases(history, name, at.lease_s)
        self._holding = Holding(leases, fence, known, settings.sites, self._on_end)
        clock = Clock()
        client = settings.broker.model_copy(
            update={"client_id": f"{settings.broker.client_id}-{name}"[:64]}
        )
        self._subscription = Subscription(client, clock, frozenset(), beats=False)
        self._ingest = Ingest(
            self._subscription,
            Intake(history, settings.sites, lambda *_: None),
            clock,
            (),
            lambda _: None,
            self._on_end,
            self._holding,
        )

    def run(self, asked_to_stop: threading.Event) -> None:
        """Until asked to stop; raises what ended a thread, if something did."""
        self._holding.start()
        self._ingest.start()
        self._subscription.start()
        try:
            while not asked_to_stop.wait(LOOK_S) and not self._ended.is_set():
                self._subscription.check_thread()
        finally:
            self._subscription.stop()
            self._ingest.stop()
            self._holding.stop()
        if self._fault is not None:
            raise self._fault

    def _on_end(self, fault: BaseException | None) -> None:
        self._fault = self._fault or fault
        self._ended.set()
