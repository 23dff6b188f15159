"""A process full of units, each with a real MQTT 5 connection of its own, on one thread."""

from __future__ import annotations

import selectors
import time
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from typing import Any

from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from edge.records import Stream
from tests.bench.fleet.units import WINDOW, Outlet, VirtualUnit

LOOK_S = 0.02
KEEPALIVE_S = 60
AGAIN_S = 0.2
"""Until the next try where the broker does not answer."""


@dataclass(slots=True, eq=False)
class Member:
    """A unit and its client. ready: subscribed, its state told. again_s: when to connect next."""

    unit: VirtualUnit
    client: Client
    ready: bool = False
    again_s: float = 0.0


@dataclass(slots=True)
class Crowd:
    """rows: of a message of minute rows; 0: none are sent. alarms: left to send, of each unit."""

    port: int
    members: list[Member] = field(default_factory=list)
    gained: int = 0
    rows: int = 0
    by_socket: dict[Any, Member] = field(default_factory=dict)
    ears: selectors.BaseSelector = field(default_factory=selectors.DefaultSelector)

    def add(self, name: str) -> None:
        """A unit that is not connected yet."""
        unit = VirtualUnit(name)
        client = Client(CallbackAPIVersion.VERSION2, name, protocol=MQTTProtocolVersion.MQTTv5)
        member = Member(unit, client)
        client.will_set(unit.state, unit.said("offline"), qos=1, retain=True)
        client.on_connect = lambda *_: self._connected(member)
        client.on_subscribe = lambda *_: self._subscribed(member)
        client.on_message = lambda _, __, message: self._receipt(member, message)
        self.members.append(member)

    def _connected(self, member: Member) -> None:
        member.client.subscribe(f"seafret/1/{member.unit.name}/down/receipt", qos=1)

    def _subscribed(self, member: Member) -> None:
        unit = member.unit
        member.client.publish(unit.state, unit.said("online"), qos=1, retain=True)
        member.ready = True

    def _receipt(self, member: Member, message: MQTTMessage) -> None:
        gained = member.unit.receipted(message.payload, time.monotonic())
        self.gained += gained
        if gained:
            self.fill(member)

    def fill(self, member: Member) -> None:
        """Sends what is wanted, as far as the windows let it."""
        if not member.ready:
            return
        for outlet in member.unit.outlets.values():
            endless = self.rows if outlet.stream is Stream.INTERVAL else 0
            while len(outlet.on_way) < WINDOW and (endless or outlet.sent < outlet.wanted):
                self._send(member, outlet, endless or outlet.wanted - outlet.sent)

    def _send(self, member: Member, outlet: Outlet, records: int) -> None:
        unit = member.unit
        payload = unit.message(outlet.stream, records, time.monotonic())
        outlet.wanted = max(outlet.wanted, outlet.sent)
        member.client.publish(unit.topic(outlet.stream), payload, qos=1)

    def turn(self) -> None:
        """What has come is read, what waits is written, who is away connects."""
        for found, _ in self.ears.select(LOOK_S):
            member = self.by_socket[found.fileobj]
            member.client.loop_read()
            self._hear(member)
        now_s = time.monotonic()
        for member in self.members:
            if member.client.socket() is None:
                self._connect(member, now_s)
            elif member.client.want_write():
                member.client.loop_write()
            member.client.loop_misc()
            self._hear(member)
            member.unit.tires(now_s)
            self.fill(member)

    def _connect(self, member: Member, now_s: float) -> None:
        if now_s < member.again_s:
            return
        member.ready = False
        member.unit.goes_back()
        try:
            member.client.connect("127.0.0.1", self.port, KEEPALIVE_S, clean_start=True)
        except OSError:
            member.again_s = now_s + AGAIN_S

    def _hear(self, member: Member) -> None:
        """The selector knows the socket that the client has now."""
        sock = member.client.socket()
        held = (
            [one for one, other in self.by_socket.items() if other is member]
            if (sock is None or sock not in self.by_socket)
            else []
        )
        for old in held:
            del self.by_socket[old]
            self.ears.unregister(old)
        if sock is not None and sock not in self.by_socket:
            self.by_socket[sock] = member
            self.ears.register(sock, selectors.EVENT_READ)

    @property
    def ready(self) -> int:
        """Units that are connected and have told so."""
        return sum(one.ready and one.client.socket() is not None for one in self.members)

    @property
    def waiting(self) -> int:
        """Units of which the gateway does not hold all yet."""
        return sum(not one.unit.is_done for one in self.members)


def run(port: int, names: list[str], pipe: Connection) -> None:
    """The process: does what it is asked, tells how it stands, and turns."""
    crowd = Crowd(port)
    for name in names:
        crowd.add(name)
    while True:
        if pipe.poll():
            asked, given = pipe.recv()
            if asked == "end":
                return
            pipe.send(_done(crowd, asked, given))
        crowd.turn()


def _done(crowd: Crowd, asked: str, given: Any) -> dict[str, Any]:
    if asked == "rows":
        crowd.rows = given
    elif asked == "alarms":
        for member in crowd.members:
            outlet = member.unit.outlets[Stream.ALARM]
            outlet.wanted = max(outlet.wanted, 1) + given
    elif asked == "delays":
        found = [delay for one in crowd.members for delay in one.unit.delays_s]
        for one in crowd.members:
            one.unit.delays_s = []
        return {"delays_s": found}
    held = {one.unit.name: one.unit.outlets[Stream.INTERVAL].held for one in crowd.members}
    return {
        "ready": crowd.ready, "gained": crowd.gained, "waiting": crowd.waiting,
        "held": held if asked == "held" else {},
    }  # fmt: skip
