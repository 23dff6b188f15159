"""A client of the broker that says what it likes, with whatever certificate it has."""

from __future__ import annotations

import queue
import threading
from pathlib import Path
from types import TracebackType

from paho.mqtt.client import Client, ConnectFlags, DisconnectFlags, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

ANSWER_S = 10.0


class Stranger:
    """One connection. Use as a context; `refused` says why there is none."""

    def __init__(
        self, port: int, ca: Path, pair: Path | None, client_id: str = "", will: str = ""
    ) -> None:
        """pair: folder with cert.pem and key.pem; None: it has no certificate."""
        self._said: queue.SimpleQueue[object] = queue.SimpleQueue()
        self._written = threading.Event()
        self.messages: queue.SimpleQueue[MQTTMessage] = queue.SimpleQueue()
        self._client = Client(
            CallbackAPIVersion.VERSION2,
            client_id=client_id,
            protocol=MQTTProtocolVersion.MQTTv5,
            reconnect_on_failure=False,
        )
        own = (None, None) if pair is None else (str(pair / "cert.pem"), str(pair / "key.pem"))
        self._client.tls_set(str(ca), *own)
        if client_id:
            self._client.username_pw_set(client_id)
        if will:
            self._client.will_set(will, b"{}", qos=1, retain=True)
        self._client.on_connect = self._on_connect
        self._client.on_disconnect = self._on_disconnect
        self._client.on_publish = self._on_publish
        self._client.on_subscribe = self._on_subscribe
        self._client.on_message = lambda client, userdata, message: self.messages.put(message)
        self._client.connect("localhost", port)
        self._client.loop_start()
        self.refused = self._said.get(timeout=ANSWER_S) != "connected"

    def __enter__(self) -> Stranger:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        fault: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()

    def publish(self, topic: str, payload: bytes, qos: int = 1, retain: bool = False) -> str:
        """The broker's word on it: a reason in words, "lost" where it ended the connection."""
        self._client.publish(topic, payload, qos=qos, retain=retain)
        return str(self._said.get(timeout=ANSWER_S))

    def publish_blindly(self, topic: str, payload: bytes) -> None:
        """Without waiting for an answer, as fast as the broker takes it."""
        while self._client.want_write():
            self._written.wait(0.001)
        self._client.publish(topic, payload, qos=0)

    def subscribe(self, topic: str) -> str:
        self._client.subscribe(topic, qos=1)
        return str(self._said.get(timeout=ANSWER_S))

    def vanish(self) -> None:
        """The connection is cut without a word; the broker then tells the will."""
        self._client.loop_stop()
        sock = self._client.socket()
        assert sock is not None
        sock.close()

    def send_bytes(self, octets: bytes) -> str:
        """Octets that are no MQTT; what the broker does."""
        sock = self._client.socket()
        assert sock is not None
        sock.sendall(octets)
        return str(self._said.get(timeout=ANSWER_S))

    def _on_connect(
        self,
        client: Client,
        userdata: object,
        flags: ConnectFlags,
        code: ReasonCode,
        properties: Properties | None,
    ) -> None:
        self._said.put("connected" if not code.is_failure else str(code))

    def _on_disconnect(
        self,
        client: Client,
        userdata: object,
        flags: DisconnectFlags,
        code: ReasonCode,
        properties: Properties | None,
    ) -> None:
        self._said.put("lost")

    def _on_publish(
        self,
        client: Client,
        userdata: object,
        mid: int,
        code: ReasonCode,
        properties: Properties | None,
    ) -> None:
        self._said.put(str(code))

    def _on_subscribe(
        self,
        client: Client,
        userdata: object,
        mid: int,
        codes: list[ReasonCode],
        properties: Properties | None,
    ) -> None:
        self._said.put(str(codes[0]))
