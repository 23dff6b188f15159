"""The uplink and the durable file against a real broker."""

from __future__ import annotations

import socket
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from edge.records import Record, Stream
from edge.send.messages import Notice
from tests.broker import Broker
from tests.edge.keep.builders import UNIT, alarm, minute_row
from tests.edge.send.receiver import Receiver
from tests.edge.send.unit import Unit


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "durable.db"


def minutes(first: int, count: int) -> list[Record]:
    return [minute_row(n) for n in range(first, first + count)]


def test_everything_arrives_once_in_order_and_is_released(broker: Broker, path: Path) -> None:
    with Receiver(broker.port) as gateway, Unit(path, broker.port) as unit:
        for n in range(10):
            unit.commit([*minutes(60 * n, 60), alarm(n)])
        unit.wait_until_drained()
        assert gateway.records(unit.epoch, Stream.INTERVAL)[1:] == minutes(0, 600)
        assert gateway.records(unit.epoch, Stream.ALARM)[1:] == [alarm(n) for n in range(10)]


def test_a_backlog_survives_the_unit_and_drains_after_its_restart(
    broker: Broker, path: Path
) -> None:
    with Unit(path, broker.port) as unit:
        unit.commit(minutes(0, 300))
        epoch = unit.epoch
    with Receiver(broker.port) as gateway, Unit(path, broker.port) as unit:
        unit.wait_until_drained()
        assert unit.epoch == epoch
        assert gateway.records(epoch, Stream.INTERVAL)[1:] == minutes(0, 300)


def test_a_broker_without_memory_that_dies_midway_changes_nothing(
    broker: Broker, path: Path
) -> None:
    with Receiver(broker.port) as gateway, Unit(path, broker.port) as unit:
        unit.commit(minutes(0, 400))
        gateway.wait_for(lambda: len(gateway.records(unit.epoch, Stream.INTERVAL)) > 3)
        broker.stop(kill=True)
        unit.commit(minutes(400, 200))
        broker.start()
        unit.wait_until_drained()
        assert gateway.records(unit.epoch, Stream.INTERVAL)[1:] == minutes(0, 600)


def test_a_gateway_that_comes_back_after_the_unit_is_found_within_seconds(
    broker: Broker, path: Path
) -> None:
    with Receiver(broker.port) as gateway, Unit(path, broker.port) as unit:
        unit.commit(minutes(0, 100))
        unit.wait_until_drained()
    with Unit(path, broker.port) as unit:
        unit.commit(minutes(100, 100))
        wait_for_log(broker, "Sending PUBACK to capegull.pole-7", "rc16")
        late = Receiver(broker.port)
        late.stored = gateway.stored
        with late:
            unit.wait_until_drained()
        assert late.records(unit.epoch, Stream.INTERVAL)[1:] == minutes(0, 200)


def wait_for_log(broker: Broker, *words: str) -> None:
    """Until the broker has said all of these in one line."""
    deadline = time.monotonic() + 30
    while not any(
        all(word in line for word in words) for line in broker.log.read_text().splitlines()
    ):
        assert time.monotonic() < deadline, broker.log.read_text()[-2000:]


def test_the_brokers_acknowledgement_releases_nothing(broker: Broker, path: Path) -> None:
    with Receiver(broker.port, answers=False) as gateway, Unit(path, broker.port) as unit:
        unit.commit([alarm(0)])
        gateway.wait_for(lambda: len(gateway.records(unit.epoch, Stream.ALARM)) == 2)
        gateway.say("capture")  # comes after the acknowledgement, by the same connection
        unit.asked.get(timeout=30)
        unit.commit([])  # comes after whatever the acknowledgement may have asked of the file
        assert not unit._drained.is_set()


def test_a_gateway_that_comes_late_gets_everything_as_soon_as_it_is_heard(
    broker: Broker, path: Path
) -> None:
    with Unit(path, broker.port) as unit:
        unit.commit(minutes(0, 50))
        assert unit.uplink.connected.wait(30)
        with Receiver(broker.port) as gateway:
            for stream in Stream:
                gateway.receipt(unit.epoch, stream, 0)
            unit.wait_until_drained()
            assert gateway.records(unit.epoch, Stream.INTERVAL)[1:] == minutes(0, 50)


def test_a_gateway_restored_from_a_backup_asks_and_gets_it_again(
    broker: Broker, path: Path
) -> None:
    with Receiver(broker.port) as gateway, Unit(path, broker.port) as unit:
        unit.commit(minutes(0, 200))
        unit.wait_until_drained()
        gateway.forget(unit.epoch, Stream.INTERVAL, above=50)
        fields = {"epoch": unit.epoch, "stream": "interval", "expires_us": 1}
        gateway.say("backfill", **fields, **{"from": 51, "to": 51})
        gateway.wait_for(lambda: len(gateway.records(unit.epoch, Stream.INTERVAL)) == 201)
        assert gateway.records(unit.epoch, Stream.INTERVAL)[1:] == minutes(0, 200)
        unit.wait_until_drained()


def test_forged_receipts_release_nothing_and_are_told(broker: Broker, path: Path) -> None:
    with Receiver(broker.port, answers=False) as gateway, Unit(path, broker.port) as unit:
        unit.commit([alarm(0)])
        gateway.wait_for(lambda: len(gateway.records(unit.epoch, Stream.ALARM)) == 2)
        gateway.receipt("7-00000000deadbeef", Stream.ALARM, 2)
        gateway.receipt(unit.epoch, Stream.ALARM, 1_000_000)
        told = {unit.notices.get(timeout=30).event for _ in range(2)}
        assert told == {"receipt-of-unknown-epoch", "receipt-from-the-future"}
        assert not unit._drained.is_set()


def test_other_requests_reach_the_daemon(broker: Broker, path: Path) -> None:
    with Receiver(broker.port) as gateway, Unit(path, broker.port) as unit:
        unit.wait_until_drained()
        gateway.say("capture", insulator="P7-A")
        asked = unit.asked.get(timeout=30)
        assert (asked.verb, asked.payload) == ("capture", b'{"insulator":"P7-A"}')


def test_the_state_is_retained_and_says_online_then_offline(broker: Broker, path: Path) -> None:
    with Unit(path, broker.port) as unit:
        assert unit.uplink.connected.wait(30)
        with Receiver(broker.port) as gateway:
            gateway.wait_for(lambda: bool(gateway.states))
        assert gateway.states[0] == ({"epoch": unit.epoch, "state": "online"}, True)
    with Receiver(broker.port) as gateway:
        gateway.wait_for(lambda: bool(gateway.states))
    assert gateway.states[0] == ({"epoch": unit.epoch, "state": "offline"}, True)


def test_a_connection_that_is_cut_leaves_a_retained_offline_behind(
    broker: Broker, path: Path
) -> None:
    with Receiver(broker.port) as gateway, Unit(path, broker.port) as unit:
        gateway.wait_for(
            lambda: ({"epoch": unit.epoch, "state": "online"}, False) in gateway.states
        )
        link = unit.uplink._link
        assert link is not None
        sock = link.socket()
        assert sock is not None
        sock.shutdown(socket.SHUT_RDWR)
        gateway.wait_for(lambda: [s["state"] for s, _ in gateway.states][:3] == [*EXPECTED])


EXPECTED = ("online", "offline", "online")


@pytest.fixture
def guarded(tmp_path: Path) -> Iterator[Broker]:
    """A broker that lets the unit write its state but none of its streams."""
    folder = tmp_path / "guarded"
    folder.mkdir()
    rules = folder / "acl"
    rules.write_text(
        f"user {UNIT}\ntopic write seafret/1/{UNIT}/state\ntopic read seafret/1/{UNIT}/down/#\n"
    )
    rules.chmod(0o700)
    running = Broker(folder, [f"acl_file {rules}"])
    running.start()
    yield running
    running.stop()


def test_a_denied_stream_is_a_security_event_and_stays_in_the_outbox(
    guarded: Broker, path: Path
) -> None:
    with Unit(path, guarded.port) as unit:
        notice = unit.notices.get(timeout=30)
        assert isinstance(notice, Notice)
        assert (notice.event, notice.security, notice.detail["code"]) == (
            "publish-denied",
            True,
            0x87,
        )
        assert not unit._drained.is_set()


def test_an_unreachable_broker_is_no_failure_and_the_thread_lives(
    free_port: int, path: Path
) -> None:
    with Unit(path, free_port) as unit:
        unit.commit([alarm(0)])
        alive_ns = unit.uplink.alive_ns
        deadline = time.monotonic() + 30
        while unit.uplink.alive_ns == alive_ns:
            assert time.monotonic() < deadline
            unit.commit([])  # posts, and so wakes the thread
        assert not unit.uplink.connected.is_set()
