"""A broker that comes back with nothing, with yesterday's memory, or with a broken one."""

from __future__ import annotations

import json
import queue
import random
from collections import Counter
from pathlib import Path

import pytest
from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from edge.records import Stream
from gateway.clock import Clock
from gateway.history.store import StreamKey
from gateway.ingest.receipts import back_fill
from gateway.ingest.subscription import Subscription
from gateway.settings import Broker as BrokerSettings
from tests.broker import Broker
from tests.campaigns.trial import WINDOWS, Trial
from tests.edge.keep.builders import UNIT

MEMORY = "mosquitto.db"
RATE = 250
DAMAGE = ("none", "stale", "zeroed", "truncated", "flipped")
ROUNDS, LONG_ROUNDS = 1, 20


def damaged(folder: Path, kind: str, yesterday: bytes, chance: random.Random) -> None:
    """What lies there instead of the broker's memory."""
    path = folder / MEMORY
    content = bytearray(path.read_bytes() if path.exists() else yesterday)
    match kind:
        case "none":
            path.unlink(missing_ok=True)
            return
        case "stale":
            content = bytearray(yesterday)
        case "zeroed":
            content = bytearray(len(content))
        case "truncated":
            del content[chance.randrange(1, len(content)) :]
        case _:
            for _ in range(20):
                content[chance.randrange(len(content))] ^= 1 << chance.randrange(8)
    path.write_bytes(content)


def started(broker: Broker) -> bool:
    """Started; False where it would not with the memory that it found, which is moved aside."""
    try:
        broker.start()
    except AssertionError:
        (broker.folder / MEMORY).rename(broker.folder / f"{MEMORY}.broken")
        broker.start()
        return False
    return True


def campaign(folder: Path, rounds: int) -> None:
    place = folder / "remembering"
    place.mkdir()
    broker = Broker(
        place, ["persistence true", f"persistence_location {place}/", "autosave_interval 1"]
    )
    broker.start()
    chance, refused = random.Random(rounds), Counter[str]()
    options = ("--rate", str(RATE))
    try:
        with Trial(folder, broker, unit=options, gateway=("--slow-s", "0.12")) as trial:
            trial.start_gateway()
            trial.start_unit()
            trial.await_told(lambda told: told.receipted() > 0)
            broker.stop()  # asked to end, it saves: this is yesterday's memory
            yesterday = (place / MEMORY).read_bytes()
            broker.start()
            number = -1
            while (number := number + 1) < rounds * len(DAMAGE) or trial.await_unmet_window():
                kind = DAMAGE[number % len(DAMAGE)]
                stored = trial.stored()
                trial.await_told(lambda _, at=stored: trial.stored() > at)  # type: ignore[misc]
                trial.kill("broker")
                damaged(place, kind, yesterday, chance)
                refused[kind] += not started(broker)
            found = trial.finish(wait_s=200)
    finally:
        broker.stop()
    print(trial.figures(found), "would not start with:", {k: v for k, v in refused.items() if v})
    assert found.is_clean(), found
    assert all(trial.windows[window] for window in WINDOWS), trial.windows


def test_a_broker_with_no_stale_or_broken_memory_loses_nothing(tmp_path: Path) -> None:
    campaign(tmp_path, ROUNDS)


@pytest.mark.long
@pytest.mark.timeout(3600)
def test_a_hundred_restarts_of_brokers_with_spoilt_memories(tmp_path: Path) -> None:
    campaign(tmp_path, LONG_ROUNDS)


class Listener:
    """A unit that only hears what it is asked."""

    def __init__(self, port: int) -> None:
        self.heard: queue.SimpleQueue[int] = queue.SimpleQueue()
        subscribed: queue.SimpleQueue[bool] = queue.SimpleQueue()
        self._client = Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5)
        self._client.on_message = self._on_message
        self._client.on_subscribe = lambda *_: subscribed.put(True)
        self._client.connect("127.0.0.1", port)
        self._client.subscribe(f"seafret/1/{UNIT}/down/+", qos=1)
        self._client.loop_start()
        subscribed.get(timeout=30)

    def __enter__(self) -> Listener:
        return self

    def __exit__(self, *_: object) -> None:
        self._client.disconnect()
        self._client.loop_stop()

    def _on_message(self, client: Client, userdata: object, message: MQTTMessage) -> None:
        self.heard.put(json.loads(message.payload)["from"])

    def await_number(self, number: int) -> None:
        while self.heard.get(timeout=30) != number:
            pass


def test_requests_that_a_broker_died_with_do_not_stop_those_that_follow(broker: Broker) -> None:
    """The client library sends at most 20 unacknowledged messages: here 60 are under way."""
    subscription = Subscription(BrokerSettings(port=broker.port), Clock())
    key = StreamKey(UNIT, "1-0000000000000001", Stream.ALARM)
    subscription.start()
    try:
        assert subscription.connected.wait(30)
        for round_number in range(1, 5):
            subscription.send(back_fill(key, (n, n), 0) for n in range(1, 61))
            broker.stop(kill=True)
            subscription.send(back_fill(key, (n, n), 0) for n in range(61, 121))
            seen = subscription.subscribed
            broker.start()
            with Listener(broker.port) as unit:
                while subscription.subscribed == seen:
                    assert subscription.connected.wait(30)
                subscription.send([back_fill(key, (1000 * round_number,) * 2, 0)])
                unit.await_number(1000 * round_number)
    finally:
        subscription.stop()
