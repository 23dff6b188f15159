"""The gateway's side of the broker: MQTT 5, acknowledged by hand and only after the commit.

The client's callbacks only put messages into the inbox. Memory is bounded: the broker sends at most
RECEIVE_MAX unacknowledged messages, none larger than PACKET_BYTES_MAX, and messages that need no
acknowledgement find room only while the inbox is short.
"""

from __future__ import annotations

import json
import logging
import re
import socket
import threading
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Literal

from paho.mqtt.client import (
    MQTT_CLEAN_START_FIRST_ONLY,
    Client,
    ConnectFlags,
    DisconnectFlags,
    MQTTMessage,
)
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from edge.wire import EPOCH_PATTERN, canonical
from gateway.clock import Clock
from gateway.ingest.fair_inbox import FairInbox
from gateway.ingest.intake import Arrival
from gateway.ingest.receipts import Outgoing
from gateway.ingest.topics import (
    HEARTBEAT_TOPIC,
    STATE_FILTER,
    UP_FILTER,
    read_state_topic,
    unit_of,
    up_filter,
)
from gateway.settings import Broker

log = logging.getLogger("seafret.ingest")

RECEIVE_MAX = 256
"""Unacknowledged messages; the broker waits beyond."""

PACKET_BYTES_MAX = 256 * 1024
"""A larger message is dropped by the broker; those between 64 KiB and this are refused and kept."""

UNACKNOWLEDGED_ROOM = 256
"""With this many in the inbox, a message of QoS 0 is dropped; the unit sends it again."""

MESSAGES_A_COMMIT_MAX = 256

SESSION_EXPIRY_S = 3600
"""For this long the broker keeps messages for a gateway that it lost; what it drops is sent again.
A gateway that starts anew asks for none of them: one that it died of would come back for ever, and
the units hold whatever was not receipted."""

RECONNECT_S = (1, 30)


@dataclass(frozen=True, slots=True)
class Delivery:
    """A message from the broker. connection: which one it came by; its number counts only there."""

    arrival: Arrival
    mid: int
    qos: int
    connection: int


@dataclass(frozen=True, slots=True)
class UnitState:
    """What the retained state topic says of a unit; a hint, never a judgement.

    epoch: the one that the unit says it writes in, "" where it says none.
    """

    unit: str
    state: Literal["online", "offline", "unknown"]
    epoch: str = ""


class Subscription:
    """One client of the broker. subscribed: how often it has come to hear units. units: those that
    are heard, None for all. beats: whether this is the gateway, whose heartbeat is retained."""

    def __init__(
        self,
        broker: Broker,
        clock: Clock,
        units: frozenset[str] | None = None,
        beats: bool = True,
    ) -> None:
        self._units, self._beats = units, beats
        self._broker = broker
        self._clock = clock
        self._inbox: FairInbox[Delivery] = FairInbox()
        self._connection = 0
        self._is_started = False
        self.subscribed = 0
        self.connected = threading.Event()
        self._client = self._make_client()

    def _make_client(self) -> Client:
        client = Client(
            CallbackAPIVersion.VERSION2,
            client_id=self._broker.client_id,
            protocol=MQTTProtocolVersion.MQTTv5,
            manual_ack=True,
        )
        if self._beats:
            client.will_set(HEARTBEAT_TOPIC, _parting("gone"), qos=1, retain=True)
        client.on_socket_open = _without_delay
        client.on_connect = self._on_connect
        client.on_disconnect = self._on_disconnect
        client.on_subscribe = self._on_subscribe
        client.on_message = self._on_message
        client.reconnect_delay_set(*RECONNECT_S)
        client.max_queued_messages_set(RECEIVE_MAX)
        if self._broker.username is not None:
            client.username_pw_set(self._broker.username)
        if self._broker.tls is not None:
            tls = self._broker.tls
            client.tls_set(str(tls.ca), str(tls.cert), str(tls.key))
        return client

    def start(self) -> None:
        """Connects, and again whenever the connection is lost."""
        properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
        properties.ReceiveMaximum = RECEIVE_MAX
        properties.MaximumPacketSize = PACKET_BYTES_MAX
        properties.SessionExpiryInterval = SESSION_EXPIRY_S
        self._client.connect_async(
            self._broker.host,
            self._broker.port,
            self._broker.keepalive_s,
            clean_start=MQTT_CLEAN_START_FIRST_ONLY,
            properties=properties,
        )
        self._client.loop_start()
        self._is_started = True

    def stop(self) -> None:
        """Leaves the broker; what was not acknowledged will come again."""
        if self.connected.is_set():
            self.beat(_parting("stopped"))
        self._is_started = False
        self._client.disconnect()
        self._client.loop_stop()

    def beat(self, payload: bytes) -> None:
        """Retains a heartbeat, while there is a connection; the will speaks where there is none."""
        if self.connected.is_set() and self._beats:
            self._client.publish(HEARTBEAT_TOPIC, payload, qos=1, retain=True)

    def hear(self, units: frozenset[str]) -> None:
        """These units from now on; what has come of others stays in the inbox."""
        before, self._units = self._units or frozenset(), units
        if self.connected.is_set():
            if before - units:
                self._client.unsubscribe([up_filter(unit) for unit in sorted(before - units)])
            if units - before:
                self._client.subscribe(_asked(up_filter(unit) for unit in sorted(units - before)))

    def check_thread(self) -> None:
        """Raises where the client's thread has died: only a new start of the gateway mends that."""
        thread = self._client._thread  # no public word for it; None again once it has ended
        alive = thread is not None and thread.is_alive()
        assert alive or not self._is_started, "the thread of the MQTT client has died"

    def take(self, wait_s: float) -> list[Delivery]:
        """The messages that have come, at most one commit's; waits for the first one."""
        return self._inbox.take(MESSAGES_A_COMMIT_MAX, wait_s)

    def take_shed(self) -> dict[str, int]:
        """How many messages of each unit were shed unread since the last call."""
        return self._inbox.take_shed()

    def acknowledge(self, deliveries: Iterable[Delivery]) -> None:
        """Tells the broker that it may forget them; those of a former connection it sends again."""
        for delivery in deliveries:
            if delivery.qos and delivery.connection == self._connection:
                self._client.ack(delivery.mid, delivery.qos)

    def send(self, outgoing: Iterable[Outgoing]) -> None:
        """Messages to units; dropped while there is no connection, for they are repeated."""
        for message in outgoing:
            if self.connected.is_set():
                self._client.publish(message.topic, message.payload, qos=message.qos)

    def _on_connect(
        self,
        client: Client,
        userdata: Any,
        flags: ConnectFlags,
        reason: ReasonCode,
        properties: Properties | None,
    ) -> None:
        if reason.is_failure:
            log.warning("broker %s refuses the gateway: %s", self._address(), reason)
            return
        self._connection += 1
        units = self._units
        heard = [UP_FILTER] if units is None else [up_filter(unit) for unit in sorted(units)]
        client.subscribe(_asked([*heard, STATE_FILTER]))

    def _on_subscribe(
        self,
        client: Client,
        userdata: Any,
        mid: int,
        reasons: list[ReasonCode],
        properties: Properties | None,
    ) -> None:
        refused = [str(reason) for reason in reasons if reason.is_failure]
        if refused:
            log.error("broker %s refuses a subscription: %s", self._address(), ", ".join(refused))
            return
        log.info("connected to the broker %s", self._address())
        self.subscribed += 1
        self.connected.set()

    def _on_disconnect(
        self,
        client: Client,
        userdata: Any,
        flags: DisconnectFlags,
        reason: ReasonCode,
        properties: Properties | None,
    ) -> None:
        self.connected.clear()
        if reason.is_failure:
            log.warning("lost the broker %s: %s; trying again", self._address(), reason)

    def _on_message(self, client: Client, userdata: Any, message: MQTTMessage) -> None:
        if message.qos == 0 and len(self._inbox) >= UNACKNOWLEDGED_ROOM:
            return
        topic = _topic_of(message)
        arrival = Arrival(topic, bytes(message.payload), message.retain, self._clock.utc_us())
        delivery = Delivery(arrival, message.mid, message.qos, self._connection)
        if not self._inbox.put(unit_of(topic), delivery) and message.qos:
            client.ack(message.mid, message.qos)

    def _address(self) -> str:
        return f"{self._broker.host}:{self._broker.port}"


def _asked(filters: Iterable[str]) -> list[tuple[str, SubscribeOptions]]:
    """As published: else a retained measurement would look like any other until the next start."""
    return [(one, SubscribeOptions(qos=1, retainAsPublished=True)) for one in filters]


def _without_delay(client: Client, userdata: Any, sock: Any) -> None:
    """A receipt follows an acknowledgement at once and shall not wait for the network's answer."""
    sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)


def _topic_of(message: MQTTMessage) -> str:
    """The topic, its bytes that are no UTF-8 as escapes, which no topic of the contract has.

    A broker with a damaged memory hands out such a one; it is refused and kept like any other.
    """
    try:
        return message.topic
    except UnicodeDecodeError as broken:
        return broken.object.decode("utf-8", "backslashreplace")


def _parting(state: str) -> bytes:
    """The gateway's last word: its own, or the broker's for it."""
    return canonical({"state": state})


def read_state(arrival: Arrival) -> UnitState | None:
    """What a message on a state topic says; None where it is on another topic."""
    unit = read_state_topic(arrival.topic)
    if unit is None:
        return None
    try:
        parsed = json.loads(arrival.payload[:1024])
    except (ValueError, RecursionError):
        return UnitState(unit, "unknown")
    said = parsed.get("state") if isinstance(parsed, dict) else None
    if said == "online" or said == "offline":
        epoch = parsed.get("epoch")
        sound = isinstance(epoch, str) and re.fullmatch(EPOCH_PATTERN, epoch)
        return UnitState(unit, said, epoch if sound else "")
    return UnitState(unit, "unknown")
