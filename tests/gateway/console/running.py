"""A unit at a real broker, and a gateway that serves."""

from __future__ import annotations

import json
import queue
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx
from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from edge.records import Condition, Record, Stream
from gateway.clock import Clock
from gateway.history.lock import hold_data
from gateway.service import Gateway
from gateway.settings import read_settings
from tests.gateway.build import (
    EPOCH,
    MINUTE_US,
    START_US,
    UNIT,
    condition,
    epoch_start,
    health,
    interval,
    message,
    topic,
    weather,
)

ROOT = Path(__file__).parents[3]
ANSWER_S = 20.0
PATIENCE_S = 0.5
TRIES = 40


class UnitAtTheBroker:
    """A unit that publishes and hears its receipts."""

    def __init__(self, port: int) -> None:
        self.heard: queue.SimpleQueue[tuple[str, dict[str, Any]]] = queue.SimpleQueue()
        subscribed: queue.SimpleQueue[bool] = queue.SimpleQueue()
        self._client = Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5)
        self._client.on_message = self._on_message
        self._client.on_subscribe = lambda *_: subscribed.put(True)
        self._client.connect("127.0.0.1", port)
        self._client.subscribe(f"seafret/1/{UNIT}/down/#", qos=1)
        self._sent: dict[Stream, bytes] = {}
        self._client.loop_start()
        subscribed.get(timeout=ANSWER_S)

    def _on_message(self, client: Client, userdata: object, received: MQTTMessage) -> None:
        self.heard.put((received.topic.rpartition("/")[2], json.loads(received.payload)))

    def publish(self, payload: bytes, stream: Stream = Stream.INTERVAL, **how: Any) -> None:
        self._sent[stream] = payload
        self._client.publish(topic(stream), payload, qos=1, **how)

    def say_online(self) -> None:
        state = {"epoch": EPOCH, "state": "online"}
        self._client.publish(f"seafret/1/{UNIT}/state", json.dumps(state), qos=1, retain=True)

    def receipt(self, stream: Stream, upto: int) -> None:
        """Waits for the receipt of `upto`, sending the stream's last message again meanwhile."""
        expected = ("receipt", {"epoch": EPOCH, "stream": stream.value, "upto": upto})
        for _ in range(TRIES):
            try:
                while (said := self.heard.get(timeout=PATIENCE_S)) != expected:
                    verb, told = said
                    other = verb != "receipt" or told["stream"] != stream.value
                    assert other or told["upto"] <= upto
                return
            except queue.Empty:
                self.publish(self._sent[stream], stream)
        raise AssertionError(f"no receipt {expected}")

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


class Served:
    """A gateway that serves, wherever it runs."""

    def __init__(self, settings: Path, url: str) -> None:
        self.settings = settings
        self.url = url

    def get(self, what: str, **query: Any) -> Any:
        answer = httpx.get(f"{self.url}/api/1/{what}", params=query, trust_env=False)
        assert answer.status_code == 200, answer.text
        return answer.json()


@contextmanager
def serving(settings_file: Path) -> Iterator[Served]:
    """A gateway that serves in this process, as `seafret serve` does."""
    settings = read_settings(settings_file)
    with hold_data(settings.data, "seafret serve"):
        gateway = Gateway(settings)
        try:
            gateway.start()
            yield Served(settings_file, gateway.address)
        finally:
            gateway.stop()


class ServedByProcess(Served):
    """`seafret serve` as a process that can be killed."""

    def __init__(self, settings: Path) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-m", "gateway", "serve", "--settings", str(settings)],
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
            cwd=ROOT,
        )
        assert self.process.stdout is not None
        ready = self.process.stdout.readline()
        assert ready.startswith("gateway ready at http"), ready
        super().__init__(settings, ready.split()[3].rstrip(","))

    def end(self, number: int = signal.SIGTERM) -> int:
        self.process.send_signal(number)
        code = self.process.wait(timeout=ANSWER_S)
        assert self.process.stdout is not None
        self.process.stdout.close()
        return code


SETTINGS = """
data = "history"
[broker]
port = {broker}
[console]
port = {console}
[clock]
rate = 0.001
real_origin_us = REAL
shown_origin_us = SHOWN
[sites.north-head]
title = "North Head"
[sites.north-head.units.m1]
insulators = ["A1", "B2"]
""".replace("REAL", str(Clock().utc_us())).replace("SHOWN", str(START_US + 3 * MINUTE_US))
"""A clock that almost stands still, three minutes after the records of the tests begin."""


@dataclass(frozen=True)
class Said:
    """What a command printed, and its exit code."""

    code: int
    out: str
    err: str


Seafret = Callable[..., Said]


def story(*records: Record) -> list[Record]:
    return [epoch_start(), *records]


def send_a_night(unit: UnitAtTheBroker, alarm: Condition) -> None:
    rows = [interval(n, insulator) for n in range(3) for insulator in ("A1", "B2")]
    for stream, records in (
        (Stream.HEALTH, [health(2)]),
        (Stream.WEATHER, [weather(n) for n in range(3)]),
        (Stream.ALARM, [condition(1, alarm)]),
        (Stream.INTERVAL, rows),
    ):
        unit.publish(message(1, story(*records), stream), stream)
        unit.receipt(stream, 1 + len(records))
