"""Settings of such a gateway, a listener at its broker, and records of this very minute."""

from __future__ import annotations

import json
import queue
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from edge.records import Condition, ConditionChange
from gateway.clock import Clock
from tests.gateway.build import condition
from tests.gateway.notices.receiving import MailServer, WebHook

ANSWER_S = 30.0
BEAT_S = 0.3


def settings_text(broker: int, console: int, outstation: int, hook: int, mail: int) -> str:
    return f"""
data = "history"
[broker]
port = {broker}
[console]
port = {console}
[heartbeat]
ping_url = "http://127.0.0.1:{hook}/alive"
ping_every_s = {BEAT_S}
[outstation]
port = {outstation}
[[notices.recipients]]
name = "duty"
address = "json://127.0.0.1:{hook}/duty"
[[notices.recipients]]
name = "desk"
form = "long"
address = "mailto://127.0.0.1:{mail}/?from=gateway@north.example&to=desk@north.example"
[sites.north-head]
title = "North Head"
call = "x4411"
[sites.north-head.units.m1]
insulators = ["A1", "B2"]
[sites.gannet-stack.units.pole-1]
insulators = ["old-post", "new-rubber"]
"""


@dataclass(frozen=True)
class Outward:
    """Where everything of the gateway is."""

    settings: Path
    broker: int
    outstation: int
    hook: WebHook
    mails: MailServer

    def post(self) -> str:
        """The next notice at the web hook."""
        return str(self.hook.next()["message"])


class Listener:
    """Hears topics at the broker; JSON payloads in order."""

    def __init__(self, port: int, *topics: str) -> None:
        self.heard: queue.SimpleQueue[dict[str, Any]] = queue.SimpleQueue()
        subscribed: queue.SimpleQueue[bool] = queue.SimpleQueue()
        self._client = Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5)
        self._client.on_message = self._on_message
        self._client.on_subscribe = lambda *_: subscribed.put(True)
        self._client.connect("127.0.0.1", port)
        self._client.subscribe([(topic, 1) for topic in topics])
        self._client.loop_start()
        subscribed.get(timeout=ANSWER_S)

    def _on_message(self, client: Client, userdata: object, message: MQTTMessage) -> None:
        self.heard.put(json.loads(message.payload))

    def until(self, holds: Callable[[dict[str, Any]], bool]) -> dict[str, Any]:
        """The next payload of which it holds."""
        while not holds(found := self.heard.get(timeout=ANSWER_S)):
            pass
        return found

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


def asked_until(ask: Callable[[], Any], holds: Callable[[Any], bool]) -> Any:
    """What is asked for over and over, without a pause, until it is as it should be."""
    until = time.monotonic() + ANSWER_S
    while not holds(found := ask()):
        assert time.monotonic() < until, found
    return found


def arcing_now(said: Condition = Condition.IN, **changes: Any) -> ConditionChange:
    now_us = Clock().utc_us()
    return condition(0, said, at_us=now_us, since_us=now_us, **changes)
