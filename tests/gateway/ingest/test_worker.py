"""The order of the ingest thread, against a real broker and a history that cannot be written."""

from __future__ import annotations

import sqlite3
import threading
from contextlib import closing
from pathlib import Path

import pytest
from paho.mqtt import publish

from gateway.clock import Clock
from gateway.history.sqlite_store import SqliteHistory
from gateway.ingest import worker
from gateway.ingest.intake import Intake
from gateway.ingest.subscription import Subscription
from gateway.settings import Broker as BrokerSettings
from tests.broker import Broker
from tests.gateway.build import epoch_start, interval, key, message, topic

SITE = "north-head"
WAIT_S = 30.0
ACKNOWLEDGED = "Received PUBACK from seafret-gateway"
RECEIPTED = "Received PUBLISH from seafret-gateway"


def said(broker: Broker, words: str) -> bool:
    return words in broker.log.read_text(encoding="utf-8")


def publish_one(broker: Broker, payload: bytes) -> None:
    """Returns when the broker has it, and so has read what was written to it before."""
    publish.single(topic(), payload, qos=1, hostname=broker.host, port=broker.port)


def test_nothing_is_acknowledged_or_receipted_before_it_is_durable(
    tmp_path: Path, broker: Broker, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(worker, "STORE_RETRY_S", (0.05, 0.05))
    history, waited = SqliteHistory(tmp_path / "history"), threading.Event()
    intake = Intake(history, [SITE], lambda *_: None)
    intake.writer(SITE)._connection.execute("PRAGMA busy_timeout = 50")  # type: ignore[attr-defined]
    subscription = Subscription(BrokerSettings(port=broker.port), Clock())
    ingest = worker.Ingest(subscription, intake, Clock(), (), lambda _: None, lambda _: None)
    ingest.start()
    subscription.start()
    try:
        assert subscription.connected.wait(WAIT_S)
        with closing(
            sqlite3.connect(tmp_path / f"history/{SITE}.sqlite3", isolation_level=None)
        ) as other:
            other.execute("BEGIN IMMEDIATE")  # nobody else can write
            publish_one(broker, message(1, [epoch_start()]))
            for _ in range(round(WAIT_S / 0.02)):
                if ingest.store_fault:
                    break
                waited.wait(0.02)
            assert "nothing was written" in ingest.store_fault
            publish_one(broker, message(2, [interval(1)]))
            assert not said(broker, ACKNOWLEDGED) and not said(broker, RECEIPTED)
            other.execute("ROLLBACK")
        for _ in range(round(WAIT_S / 0.02)):
            if said(broker, ACKNOWLEDGED) and said(broker, RECEIPTED):
                break
            waited.wait(0.02)
        assert intake.marks[key()] >= 1
        assert said(broker, ACKNOWLEDGED) and said(broker, RECEIPTED)
    finally:
        subscription.stop()
        ingest.stop()
