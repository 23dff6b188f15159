"""The database goes away in mid-run: nothing is acknowledged that is not there, nothing is lost."""

from __future__ import annotations

import threading
from collections.abc import Iterator

import pytest

from gateway.clock import Clock
from gateway.history.postgres_store import PostgresHistory
from gateway.history.store import StreamKey
from gateway.ingest import worker
from gateway.ingest.intake import Intake
from gateway.ingest.subscription import Subscription
from gateway.settings import Broker as BrokerSettings
from tests.broker import Broker
from tests.gateway.build import key
from tests.gateway.history.behaviour import SITE
from tests.gateway.ingest.numbered_unit import NumberedUnit
from tests.postgres import Server

UNIT = f"{SITE}.m1"
WAIT_S = 60.0


class Listening:
    """Ingest over a database, and an event for its first fault of the store."""

    def __init__(self, server: Server, port: int) -> None:
        self.history = PostgresHistory(server.address())
        self.ended: list[BaseException | None] = []
        self.intake = Intake(self.history, [SITE], lambda *_: None)
        subscription, clock = Subscription(BrokerSettings(port=port), Clock()), Clock()
        self.ingest = worker.Ingest(
            subscription, self.intake, clock, (), lambda _: None, self.ended.append
        )
        self.subscription = subscription

    def start(self) -> None:
        self.ingest.start()
        self.subscription.start()
        assert self.subscription.connected.wait(WAIT_S)

    def stop(self) -> None:
        self.subscription.stop()
        self.ingest.stop()


@pytest.fixture
def listening(
    server: Server, broker: Broker, monkeypatch: pytest.MonkeyPatch
) -> Iterator[Listening]:
    server.empty()
    monkeypatch.setattr(worker, "STORE_RETRY_S", (0.1, 0.5))
    made = Listening(server, broker.port)
    made.start()
    yield made
    made.stop()


@pytest.fixture
def unit(broker: Broker) -> Iterator[NumberedUnit]:
    made = NumberedUnit(UNIT, broker.port)
    yield made
    made.stop()


@pytest.mark.parametrize("mode", [pytest.param("fast", marks=pytest.mark.long), "immediate"])
def test_a_server_that_goes_and_comes_back_costs_nothing_but_time(
    server: Server, listening: Listening, unit: NumberedUnit, mode: str
) -> None:
    unit.want(10)
    unit.await_receipt(10)
    server.stop(mode)
    try:
        unit.want(200)
        waited = threading.Event()
        while not listening.ingest.store_fault:
            assert not waited.wait(0.02) and listening.ingest.is_alive()
        assert "must be readable" in listening.ingest.store_fault or (
            "nothing was written" in listening.ingest.store_fault
        )
        assert unit.receipted == 10
    finally:
        server.start()
    unit.await_receipt(200)
    assert not listening.ended
    reader = listening.history.reader(SITE)
    sent = StreamKey(UNIT, key().epoch, key().stream)
    lines = reader.lines(sent)
    assert [one.seq for one in lines] == list(range(1, 201))
    assert reader.marks()[sent].upto == 200
    assert len(reader.intervals(UNIT, 0, 1 << 62)) == 199
    reader.close()
