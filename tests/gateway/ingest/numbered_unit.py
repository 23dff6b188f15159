"""A unit at a real broker that sends numbered minutes until each is receipted, as the edge does."""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Callable

from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from edge.records import Record
from edge.wire import canonical
from tests.gateway.build import EPOCH, epoch_start, interval, message, topic

AGAIN_S = 0.5
"""Without a receipt for so long, everything after the last one is sent again."""
LINES_A_MESSAGE = 5


class NumberedUnit:
    """One stream of one unit. receipted: up to where the gateway said so; told: when it did."""

    def __init__(self, unit: str, port: int) -> None:
        self.unit, self.receipted = unit, 0
        self.told: list[tuple[float, int]] = []
        self._wanted = self._highest = 0
        self._changed = threading.Condition()
        self._ended = False
        self._client = Client(
            CallbackAPIVersion.VERSION2, client_id=unit, protocol=MQTTProtocolVersion.MQTTv5
        )
        self._client.on_message = self._on_message
        self._client.on_connect = lambda client, *_: self._greet(client)
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()
        self._thread = threading.Thread(target=self._send, name=unit, daemon=True)
        self._thread.start()

    def want(self, wanted: int) -> None:
        """Sends lines until so many are receipted."""
        with self._changed:
            self._wanted = wanted
            self._changed.notify_all()

    def await_receipt(self, upto: int, wait_s: float = 60.0) -> None:
        """Until the gateway has told of so many."""
        with self._changed:
            known = self._changed.wait_for(lambda: self.receipted >= upto, wait_s)
        assert known, f"{self.unit}: {self.receipted} of {upto} receipted"

    def stand(self) -> int:
        """Sends nothing new; the highest number that was ever sent."""
        with self._changed:
            self._wanted = self._highest
            return self._highest

    def stop(self) -> None:
        with self._changed:
            self._ended = True
            self._changed.notify_all()
        self._thread.join()
        self._client.disconnect()
        self._client.loop_stop()

    def _greet(self, client: Client) -> None:
        client.subscribe(f"seafret/1/{self.unit}/down/receipt")
        state = canonical({"state": "online", "epoch": EPOCH})
        client.publish(f"seafret/1/{self.unit}/state", state, qos=1, retain=True)

    def _on_message(self, client: Client, userdata: object, got: MQTTMessage) -> None:
        said = json.loads(got.payload)
        if said["stream"] != "interval":
            return
        with self._changed:
            self.told.append((time.monotonic(), said["upto"]))
            self.receipted = max(self.receipted, said["upto"])
            self._changed.notify_all()

    def _send(self) -> None:
        while True:
            with self._changed:
                self._changed.wait_for(lambda: self._ended or self.receipted < self._wanted)
                if self._ended:
                    return
                first = self.receipted + 1
                last = min(self._wanted, first + 4 * LINES_A_MESSAGE - 1)
                self._highest = max(self._highest, last)
            for n in range(first, last + 1, LINES_A_MESSAGE):
                numbers = range(n, min(n + LINES_A_MESSAGE, last + 1))
                rows = [self.record(one) for one in numbers]
                self._client.publish(topic(unit=self.unit), message(n, rows, unit=self.unit), qos=1)
            self._await(lambda last=last: self._ended or self.receipted >= last)  # type: ignore[misc]

    def record(self, number: int) -> Record:
        """What the line of this number says."""
        return epoch_start() if number == 1 else interval(number, insulator=self.unit)

    def _await(self, reached: Callable[[], bool]) -> None:
        with self._changed:
            self._changed.wait_for(reached, AGAIN_S)
