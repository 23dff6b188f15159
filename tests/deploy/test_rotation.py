"""Certificates are changed under way and nothing is lost; a receipt releases only what it may."""

from __future__ import annotations

import json
from collections.abc import Iterator

import pytest

from edge.records import IntervalRow
from edge.send.link import Broker, Tls
from edge.wire import read_record
from tests.deploy.authority import PAST
from tests.deploy.deployed import until
from tests.deploy.standing import Standing, standing
from tests.deploy.stranger import Stranger
from tests.edge.send.unit import Unit
from tests.gateway.build import START_US, interval

BEFORE, BACKLOG = 20, 300
WAIT_S = 60.0


@pytest.fixture(scope="module")
def deployed(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Standing]:
    with standing(tmp_path_factory.mktemp("deployed")) as made:
        yield made


def real_unit(deployed: Standing, name: str, *options: str) -> Unit:
    """A unit whose certificate and key are read anew for every connection."""
    pair = deployed.authority.unit(name, *options)
    tls = Tls(pair / "ca.pem", pair / "cert.pem", pair / "key.pem")
    broker = Broker("localhost", deployed.broker.port, tls, keepalive_s=5)
    return Unit(deployed.folder / name, broker, name=name, wait_s=WAIT_S)


def minutes(deployed: Standing, name: str) -> list[int]:
    """Which minutes of the unit the history holds, in order of arrival."""
    rows = [read_record(body) for body in deployed.gateway.bodies(name)]
    return [(r.start_us - START_US) // 60_000_000 for r in rows if isinstance(r, IntervalRow)]


def test_new_certificates_while_a_backlog_waits_lose_and_double_nothing(
    deployed: Standing,
) -> None:
    name, authority = "gannet-head.rotated", deployed.authority
    with real_unit(deployed, name) as unit:
        unit.commit([interval(n) for n in range(BEFORE)])
        unit.wait_until_drained()
        deployed.broker.stop()
        for n in range(BEFORE, BEFORE + BACKLOG):
            unit.commit([interval(n)])
        authority.run("revoke", name)  # the old one is worth nothing any more
        authority.run("renew", name)
        authority.run("renew", "broker")
        deployed.broker.give(authority)
        assert not unit.drained()
        deployed.broker.start()
        unit.wait_until_drained()
    assert minutes(deployed, name) == list(range(BEFORE + BACKLOG))


def test_a_unit_shut_out_keeps_its_records_until_it_has_a_certificate_again(
    deployed: Standing,
) -> None:
    name = "gannet-head.shut-out"
    with real_unit(deployed, name, "--from", PAST[0], "--until", PAST[1]) as unit:
        unit.commit([interval(n) for n in range(5)])
        until(lambda: deployed.told("broker-certificate-refused", "") > 0, "the refusal is told")
        assert not unit.drained()
        deployed.authority.run("renew", name)
        unit.wait_until_drained()
    assert minutes(deployed, name) == list(range(5))


def test_forged_and_future_receipts_release_nothing_and_are_told(deployed: Standing) -> None:
    name, authority = "gannet-head.deceived", deployed.authority
    with real_unit(deployed, name) as unit:
        unit.commit([interval(0)])
        unit.wait_until_drained()
        deployed.gateway.stop()  # nobody but the forger speaks for the gateway now
        unit.commit([interval(n) for n in range(1, 4)])
        forger = authority.pair("seafret-gateway")
        with Stranger(deployed.broker.port, authority.ca, forger) as one:
            for epoch, upto, event in (
                (unit.epoch, 10**9, "receipt-from-the-future"),
                ("7-00000000000000ff", 3, "receipt-of-unknown-epoch"),
            ):
                receipt = {"epoch": epoch, "stream": "interval", "upto": upto}
                one.publish(f"seafret/1/{name}/down/receipt", json.dumps(receipt).encode())
                notice = unit.notices.get(timeout=30)
                assert notice.security and notice.event == event
        assert not unit.drained()
        deployed.gateway.start()
        unit.wait_until_drained()
    assert minutes(deployed, name) == list(range(4))
