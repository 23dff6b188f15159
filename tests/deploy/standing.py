"""A deployment that runs, and an honest unit that must not notice what others do."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from gateway.clock import Clock
from tests.broker import free_port
from tests.deploy.authority import Authority
from tests.deploy.deployed import DeployedBroker, DeployedGateway, until
from tests.deploy.stranger import Stranger
from tests.gateway.build import epoch_start, interval, message, topic

UNIT = "gannet-head.mast-3"
NEIGHBOUR = "gannet-head.mast-4"
REVOKED = "gannet-head.stolen"
EPOCH = "1-00000000000000aa"
ANSWER_S = 10.0

FAST_CLOCK = "[clock]\nrate = 60\nreal_origin_us = {now}\nshown_origin_us = {now}\n"
"""What is told once a minute comes once a second."""


@dataclass
class Standing:
    """authority, broker and gateway that run; sent: how many lines the honest unit has sent."""

    authority: Authority
    broker: DeployedBroker
    gateway: DeployedGateway
    folder: Path
    unit: Stranger | None = None
    sent: int = 0
    revoked_unit: str = REVOKED
    _log: list[str] = field(default_factory=list)

    def as_unit(self, who: str, client_id: str = "", will: str = "") -> Stranger:
        """A connection with the certificate of `who`, issued where it has none."""
        pair = self.authority.pair(who)
        if not pair.exists():
            self.authority.unit(who)
        return Stranger(self.broker.port, self.authority.ca, pair, client_id, will)

    def log(self) -> str:
        """All that the broker has said."""
        return self.broker.log.read_text(encoding="utf-8")

    def honest(self) -> None:
        """The honest unit sends its next line and gets its receipt: the deployment lives."""
        if self.unit is None:
            self.unit = self.as_unit(UNIT)
            self.unit.subscribe(f"seafret/1/{UNIT}/down/receipt")
        rows = [interval(self.sent)] if self.sent else [epoch_start()]
        payload = message(self.sent + 1, rows, unit=UNIT, epoch=EPOCH)
        assert self.unit.publish(topic(unit=UNIT), payload) == "Success"
        self.sent += 1
        upto = 0
        while upto < self.sent:  # receipts are repeated
            upto = json.loads(self.unit.messages.get(timeout=ANSWER_S).payload)["upto"]

    def told(self, event: str, unit: str) -> int:
        """How often the gateway has told of an event."""
        found = self.gateway.events()
        return sum(one.count for one in found if (one.event, one.unit) == (event, unit))


@contextmanager
def standing(folder: Path, clock: str = "") -> Iterator[Standing]:
    """A deployment, ended afterwards; clock: lines of the gateway's settings."""
    authority = Authority(folder / "authority")
    authority.run("gateway")
    authority.run("broker", "localhost", "127.0.0.1")
    for name in (UNIT, NEIGHBOUR, REVOKED):
        authority.unit(name)
    authority.run("revoke", REVOKED)
    (folder / "broker").mkdir()
    broker = DeployedBroker(folder / "broker", authority)
    broker.start()
    now = Clock().utc_us()
    gateway = DeployedGateway(folder, broker, authority, free_port(), clock.format(now=now))
    made = Standing(authority, broker, gateway, folder)
    try:
        gateway.start()
        until(lambda: "seafret-gateway 1 seafret/1/+/up/+" in made.log(), "the gateway subscribes")
        yield made
        if made.unit is not None:
            made.unit.close()
        assert gateway.stop() == 0
    finally:
        gateway.end()
        broker.stop()
