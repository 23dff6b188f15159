"""One connection of the unit against a broker whose memory is damaged."""

from __future__ import annotations

import select
import time
from pathlib import Path

from paho.mqtt import publish

from edge.send.link import Broker as Endpoint
from edge.send.link import Link, LinkEvent
from edge.send.messages import Notice
from tests.broker import Broker
from tests.edge.keep.builders import UNIT

WAIT_S = 30.0
TOPIC = f"seafret/1/{UNIT}/down/receipt"


def heard_by(link: Link) -> LinkEvent:
    """The next event, waited for."""
    until = time.monotonic() + WAIT_S
    while not link.heard and time.monotonic() < until:
        if (found := link.socket()) is not None:
            select.select([found], [], [], 0.1)
        link.read()
    return link.heard.popleft()


def test_a_topic_that_is_not_utf8_is_noticed_and_ends_nothing(tmp_path: Path) -> None:
    lines = ["persistence true", f"persistence_location {tmp_path}/"]
    broker = Broker(tmp_path, lines)
    broker.start()
    try:
        publish.single(TOPIC, "{}", qos=1, retain=True, hostname=broker.host, port=broker.port)
        broker.stop()
        memory = tmp_path / "mosquitto.db"
        content = memory.read_bytes()
        assert content.count(b"down/receipt") == 1
        memory.write_bytes(content.replace(b"down/receipt", b"down/r\xefceipt"))
        broker.start()
        link = Link(UNIT, "1-0000000000000001", Endpoint(broker.host, broker.port), lambda: None)
        link.open()
        events: list[LinkEvent] = []
        while not any(isinstance(event, Notice) for event in events):
            events.append(heard_by(link))
        refused = events[-1]
        assert isinstance(refused, Notice) and refused.event == "request-refused"
        assert link.socket() is not None
        link.close()
    finally:
        broker.stop()
