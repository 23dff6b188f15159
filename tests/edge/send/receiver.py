"""A stand-in for the gateway: takes the next number of each stream, and sends receipts."""

from __future__ import annotations

import json
import threading
from collections.abc import Callable

from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from edge.records import Loss, Record, Stream
from edge.wire import canonical, read_batch, read_record
from tests.edge.keep.builders import UNIT

WAIT_S = 30.0


class Receiver:
    """Use as a context: subscribed from `__enter__` on. answers: whether receipts are sent."""

    def __init__(self, port: int, *, answers: bool = True) -> None:
        self.stored: dict[tuple[str, Stream], list[tuple[int, Record]]] = {}
        self.states: list[tuple[dict[str, str], bool]] = []
        self.changed = threading.Condition()
        self.answers = answers
        self._subscribed = threading.Event()
        self._port = port
        self._client = Client(
            CallbackAPIVersion.VERSION2, "gateway", protocol=MQTTProtocolVersion.MQTTv5
        )
        self._client.on_connect = lambda client, *_: client.subscribe("seafret/1/#", qos=1)
        self._client.on_subscribe = lambda *_: self._greet()
        self._client.on_message = self._on_message
        self._client.reconnect_delay_set(1, 1)

    def __enter__(self) -> Receiver:
        self._client.connect("127.0.0.1", self._port)
        self._client.loop_start()
        assert self._subscribed.wait(WAIT_S)
        return self

    def __exit__(self, *_: object) -> None:
        self._client.disconnect()
        self._client.loop_stop()

    def wait_for(self, found: Callable[[], bool]) -> None:
        """Until what was received satisfies."""
        with self.changed:
            assert self.changed.wait_for(found, WAIT_S), self.stored

    def records(self, epoch: str, stream: Stream) -> list[Record]:
        return [record for _, record in self.stored.get((epoch, stream), [])]

    def say(self, verb: str, **fields: object) -> None:
        """Publish something to the unit."""
        self._client.publish(f"seafret/1/{UNIT}/down/{verb}", canonical(fields), qos=1)

    def receipt(self, epoch: str, stream: Stream, upto: int) -> None:
        self.say("receipt", epoch=epoch, stream=stream.value, upto=upto)

    def forget(self, epoch: str, stream: Stream, above: int) -> None:
        """As if restored from a backup that ends there."""
        with self.changed:
            held = self.stored[epoch, stream]
            held[:] = [each for each in held if each[0] <= above]

    def _greet(self) -> None:
        """Heard again: a unit that found nobody listening need not wait for its next try."""
        with self.changed:
            held = {lane: found[-1][0] for lane, found in self.stored.items() if found}
        for (epoch, stream), upto in held.items() if self.answers else ():
            self.receipt(epoch, stream, upto)
        self._subscribed.set()

    def _on_message(self, client: Client, userdata: object, message: MQTTMessage) -> None:
        with self.changed:
            if message.topic.endswith("/state"):
                self.states.append((json.loads(message.payload), bool(message.retain)))
            elif "/up/" in message.topic:
                self._store(bytes(message.payload))
            self.changed.notify_all()

    def _store(self, payload: bytes) -> None:
        batch = read_batch(payload)
        held = self.stored.setdefault((batch.epoch, batch.stream), [])
        for line in batch.lines:
            record = read_record(line.body)
            mark = held[-1][0] if held else 0
            first = record.first if isinstance(record, Loss) else line.seq
            if first <= mark + 1 <= line.seq:
                held.append((line.seq, record))
        if self.answers:
            self.receipt(batch.epoch, batch.stream, held[-1][0] if held else 0)
