"""A stand-in gateway at a real broker: keeps what comes, in order, and receipts it."""

from __future__ import annotations

import queue

from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from edge.records import Stream
from edge.wire import canonical, read_batch

ANSWER_S = 20.0


class Receiver:
    """bodies: of each stream, without gap or repetition."""

    def __init__(self, port: int) -> None:
        self.bodies: dict[tuple[str, Stream], list[bytes]] = {}
        subscribed: queue.SimpleQueue[bool] = queue.SimpleQueue()
        self._client = Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5)
        self._client.on_message = self._on_message
        self._client.on_subscribe = lambda *_: subscribed.put(True)
        self._client.connect("127.0.0.1", port)
        self._client.subscribe("seafret/1/+/up/+", qos=1)
        self._client.loop_start()
        subscribed.get(timeout=ANSWER_S)

    def of(self, stream: Stream) -> list[bytes]:
        """All bodies of a stream, epochs in order of coming."""
        return [one for (_, kind), held in self.bodies.items() if kind is stream for one in held]

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()

    def _on_message(self, client: Client, userdata: object, message: MQTTMessage) -> None:
        batch = read_batch(message.payload)
        held = self.bodies.setdefault((batch.epoch, batch.stream), [])
        for line in batch.lines:
            if line.seq == len(held) + 1:
                held.append(line.body)
        receipt = {"epoch": batch.epoch, "stream": batch.stream.value, "upto": len(held)}
        client.publish(f"seafret/1/{batch.unit}/down/receipt", canonical(receipt), qos=0)
