"""One connection to the broker over MQTT 5, driven from outside by the thread that owns it.

A new client for every connection, so that nothing of the client library's own queue outlives a
connection: what is not receipted is sent again from the durable file. Callbacks only put what they
heard into a queue.
"""

from __future__ import annotations

import socket
import ssl
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from paho.mqtt.client import Client, ConnectFlags, DisconnectFlags, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode, MQTTProtocolVersion
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from edge.records import Stream
from edge.send.hearing import Heard, down_filter, hear, state_topic, up_topic
from edge.send.messages import Acknowledged, LinkDown, LinkUp, Notice, Publish
from edge.send.reason_codes import Reaction, reaction
from edge.wire import canonical

SEND_BUFFER_BYTES = 64 * 1024
"""The kernel's buffer is kept small, so that a slow link shows at once as congestion."""

UNACKNOWLEDGED_MAX = 20
"""With so many messages not acknowledged by the broker, nothing more is published: the client
library never has to queue (its own limit is the same)."""

CONNECT_S_MAX = 5.0
"""A broker that has not answered a connection by then is tried again later."""


@dataclass(frozen=True, slots=True)
class Tls:
    """Files of the mutual TLS: the utility's authority, the unit's certificate and its key."""

    ca: Path
    cert: Path | None = None
    key: Path | None = None


@dataclass(frozen=True, slots=True)
class Broker:
    """Where the broker is. keepalive_s: a dead connection is found within twice this."""

    host: str
    port: int
    tls: Tls | None = None
    password: str | None = field(default=None, repr=False)
    keepalive_s: int = 20


LinkEvent = LinkUp | LinkDown | Acknowledged | Heard


class Link:
    """One connection, from the attempt to its end."""

    def __init__(
        self, unit: str, epoch: str, broker: Broker, now_us: Callable[[], int | None]
    ) -> None:
        """now_us: UTC, None while it is not trusted. Raises OSError on TLS files that fail."""
        self.heard: deque[LinkEvent] = deque()
        self._unit, self._epoch, self._broker, self._now_us = unit, epoch, broker, now_us
        self._mids: dict[int, Stream | None] = {}
        self._client = self._make_client()

    def open(self) -> None:
        """Connect; the broker's answer is heard later as LinkUp. Raises OSError."""
        self._client.connect(
            self._broker.host, self._broker.port, keepalive=self._broker.keepalive_s
        )

    def socket(self) -> socket.socket | None:
        """The open socket to wait on; None once the connection is gone."""
        return self._client.socket()  # type: ignore[return-value]

    def has_read_ahead(self) -> bool:
        """Whether TLS holds decrypted bytes, of which waiting on the socket would not tell."""
        found = self.socket()
        return isinstance(found, ssl.SSLSocket) and found.pending() > 0

    def wants_to_write(self) -> bool:
        """Whether bytes wait on this side."""
        return self._client.want_write()

    def is_congested(self) -> bool:
        """Whether nothing more should be published for now."""
        return self.wants_to_write() or len(self._mids) >= UNACKNOWLEDGED_MAX

    def read(self) -> None:
        """Take in what has come."""
        self._client.loop_read()

    def write(self) -> None:
        """Send what waits."""
        self._client.loop_write()

    def keep_alive(self) -> None:
        """Ping where it is due; to be called about once a second."""
        self._client.loop_misc()

    def publish(self, message: Publish) -> None:
        """Hand a message over; its acknowledgement is heard later and releases nothing."""
        stream = message.batch.stream
        info = self._client.publish(up_topic(self._unit, stream), message.payload, qos=1)
        if info.rc == MQTTErrorCode.MQTT_ERR_SUCCESS:
            self._mids[info.mid] = stream

    def close(self) -> None:
        """Say 'offline' and end the connection, as far as the link still allows."""
        if self._client.is_connected():
            self._client.publish(state_topic(self._unit), self._state("offline"), 1, retain=True)
        self._client.disconnect()

    def abandon(self) -> None:
        """End the connection without a word, as if it had been cut: the will speaks."""
        if (found := self.socket()) is not None:
            found.close()

    def _make_client(self) -> Client:
        client = Client(
            CallbackAPIVersion.VERSION2,
            client_id=self._unit,
            protocol=MQTTProtocolVersion.MQTTv5,
            reconnect_on_failure=False,
        )
        client.connect_timeout = CONNECT_S_MAX
        client.username_pw_set(self._unit, self._broker.password)
        if (tls := self._broker.tls) is not None:
            client.tls_set(str(tls.ca), _text(tls.cert), _text(tls.key))
        client.will_set(state_topic(self._unit), self._state("offline"), qos=1, retain=True)
        client.on_socket_open = _bound_buffer
        client.on_connect = self._on_connect
        client.on_disconnect = self._on_disconnect
        client.on_subscribe = self._on_subscribe
        client.on_publish = self._on_publish
        client.on_message = self._on_message
        return client

    def _state(self, state: str) -> bytes:
        return canonical({"epoch": self._epoch, "state": state})

    def _on_connect(
        self,
        client: Client,
        userdata: object,
        flags: ConnectFlags,
        code: ReasonCode,
        properties: Properties | None,
    ) -> None:
        if code.is_failure:
            self._tell("connection-denied", code.value)
            return
        client.subscribe(down_filter(self._unit), qos=1)
        info = client.publish(state_topic(self._unit), self._state("online"), qos=1, retain=True)
        self._mids[info.mid] = None
        self.heard.append(LinkUp(getattr(properties, "MaximumPacketSize", None)))

    def _on_disconnect(
        self,
        client: Client,
        userdata: object,
        flags: DisconnectFlags,
        code: ReasonCode,
        properties: Properties | None,
    ) -> None:
        if flags.is_disconnect_packet_from_server:
            self._tell("disconnected-by-broker", code.value)
        self.heard.append(LinkDown())

    def _on_subscribe(
        self,
        client: Client,
        userdata: object,
        mid: int,
        codes: list[ReasonCode],
        properties: Properties | None,
    ) -> None:
        for code in codes:
            self._tell("subscription-denied", code.value)

    def _on_publish(
        self,
        client: Client,
        userdata: object,
        mid: int,
        code: ReasonCode,
        properties: Properties | None,
    ) -> None:
        stream = self._mids.pop(mid, None)
        if stream is None:
            self._tell("state-denied", code.value)
        else:
            self.heard.append(Acknowledged(stream, code.value))

    def _on_message(self, client: Client, userdata: object, message: MQTTMessage) -> None:
        heard = hear(
            self._unit,
            _topic_of(message),
            bytes(message.payload),
            retained=message.retain,
            now_us=self._now_us(),
        )
        if heard is not None:
            self.heard.append(heard)

    def _tell(self, event: str, code: int) -> None:
        """A notice of what concerns security; anything else only slows the link."""
        if reaction(code) is Reaction.SECURITY:
            self.heard.append(Notice(event, True, {"code": code}))


def _topic_of(message: MQTTMessage) -> str:
    """The topic, its bytes that are no UTF-8 as escapes: a damaged broker's, refused as such."""
    try:
        return message.topic
    except UnicodeDecodeError as broken:
        return broken.object.decode("utf-8", "backslashreplace")


def _text(path: Path | None) -> str | None:
    return None if path is None else str(path)


def _bound_buffer(client: Client, userdata: object, sock: object) -> None:
    assert isinstance(sock, socket.socket)
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, SEND_BUFFER_BYTES)
