"""The gateway's client against a real broker, at its worst."""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from paho.mqtt import publish

from gateway.clock import Clock
from gateway.ingest.admission import Refusal, read_message
from gateway.ingest.subscription import Delivery, Subscription
from gateway.settings import Broker as BrokerSettings
from tests.broker import Broker

WAIT_S = 30.0
TOPIC = "seafret/1/capegull.pole-7/up/alarm"


@pytest.fixture
def remembering(tmp_path: Path) -> Iterator[Broker]:
    """A broker with a memory on disk."""
    memory = tmp_path / "remembering"
    memory.mkdir()
    broker = Broker(memory, ["persistence true", f"persistence_location {memory}/"])
    broker.start()
    try:
        yield broker
    finally:
        broker.stop()


def publish_one(broker: Broker, topic: str, payload: str) -> None:
    publish.single(topic, payload, qos=1, hostname=broker.host, port=broker.port)


def await_one(subscription: Subscription) -> Delivery:
    """Of the next message; it stays unacknowledged."""
    until = time.monotonic() + WAIT_S
    while time.monotonic() < until:
        if taken := subscription.take(0.1):
            (delivery,) = taken
            return delivery
    raise AssertionError("no message came")


def come_again(broker: Broker, subscription: Subscription) -> None:
    """Restarts the broker: only a client that came again is in this broker's memory on disk."""
    before = subscription.subscribed
    broker.stop()
    broker.start()
    until = time.monotonic() + WAIT_S
    while subscription.subscribed == before:
        assert time.monotonic() < until, "the subscription did not come again"
        time.sleep(0.02)


def damage_topic(broker: Broker) -> None:
    """Stops the broker, damages one byte of the topic in its memory, and starts it again."""
    broker.stop()
    memory = broker.folder / "mosquitto.db"
    content = memory.read_bytes()
    assert content.count(TOPIC.encode()) == 1
    memory.write_bytes(content.replace(TOPIC.encode(), TOPIC.encode().replace(b"-7", b"\xef7")))
    broker.start()


def test_a_topic_that_is_not_utf8_is_refused_and_the_gateway_hears_on(remembering: Broker) -> None:
    subscription = Subscription(BrokerSettings(port=remembering.port), Clock())
    subscription.start()
    try:
        assert subscription.connected.wait(WAIT_S)
        come_again(remembering, subscription)
        publish_one(remembering, TOPIC, "one")
        await_one(subscription)
        damage_topic(remembering)
        again = await_one(subscription)
        assert again.arrival.payload == b"one" and r"\xef7" in again.arrival.topic
        refusal = read_message(again.arrival.topic, b"one", retained=False)
        assert isinstance(refusal, Refusal) and refusal.reason == "topic"
        subscription.acknowledge([again])
        publish_one(remembering, TOPIC, "two")
        assert await_one(subscription).arrival.payload == b"two"
        subscription.check_thread()
    finally:
        subscription.stop()


def test_a_gateway_that_starts_anew_is_not_handed_what_the_last_one_left(
    remembering: Broker,
) -> None:
    """Else a message that it died of would be the first that it gets, start after start."""
    settings = BrokerSettings(port=remembering.port)
    subscription = Subscription(settings, Clock())
    subscription.start()
    try:
        assert subscription.connected.wait(WAIT_S)
        publish_one(remembering, TOPIC, "poison")
        await_one(subscription)
    finally:
        subscription.stop()
    subscription = Subscription(settings, Clock())
    subscription.start()
    try:
        assert subscription.connected.wait(WAIT_S)
        publish_one(remembering, TOPIC, "next")
        assert await_one(subscription).arrival.payload == b"next"
    finally:
        subscription.stop()


class StoppedClock(Clock):
    """A clock that cannot be read, so that whoever reads it dies."""

    def utc_us(self) -> int:
        raise OSError("no clock")


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_the_death_of_the_clients_thread_is_found(broker: Broker) -> None:
    subscription = Subscription(BrokerSettings(port=broker.port), StoppedClock())
    subscription.check_thread()
    subscription.start()
    try:
        assert subscription.connected.wait(WAIT_S)
        subscription.check_thread()
        publish_one(broker, TOPIC, "one")
        until = time.monotonic() + WAIT_S
        with pytest.raises(AssertionError, match="thread of the MQTT client has died"):
            while time.monotonic() < until:
                subscription.check_thread()
    finally:
        subscription.stop()
