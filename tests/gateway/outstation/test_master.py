"""The outstation before a master of another make, over a real connection."""

from __future__ import annotations

import socket
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime

import c104
import pytest

from gateway.outstation.asdu import Kind, Quality, Reading
from gateway.outstation.frames import Function, Unnumbered, frame_bytes, read_frame
from gateway.outstation.server import Server
from gateway.outstation.station import confirmed, observed
from gateway.outward_settings import Outstation
from tests.gateway.build import START_US
from tests.gateway.outstation.build import POINTS, address, reading, station
from tests.gateway.outstation.master import Master, Told

ARCING, PEAK, TOTAL = address("arcing"), address("peak"), address("arcing-total")
AWAY_MIN, CHANGES = 10, 1_000


def states(count: int, first: int = 0) -> list[tuple[int, Reading]]:
    """Turns of one state, a second apart."""
    return [(ARCING, reading(n % 2 == 0, n)) for n in range(first, first + count)]


@pytest.fixture
def server() -> Iterator[Server]:
    server = Server(Outstation(port=0), station())
    server.start()
    yield server
    server.stop()


@pytest.fixture
def master(server: Server) -> Iterator[Master]:
    master = Master(server.port).await_open()
    yield master
    master.close()


@contextmanager
def serving(*said: tuple[int, Reading]) -> Iterator[Server]:
    """An outstation whose points said this, all of which some master has confirmed."""
    kept = observed(station(), said)
    server = Server(Outstation(port=0), confirmed(kept, kept.numbers))
    server.start()
    try:
        yield server
    finally:
        server.stop()


@contextmanager
def mastered(server: Server) -> Iterator[Master]:
    """A master that data goes to."""
    master = Master(server.port)
    try:
        yield master.await_open()
    finally:
        master.close()


def test_an_interrogation_tells_every_point_once_with_its_type_and_then_ends() -> None:
    said = [(PEAK, reading(20.0, 1, Quality.OVERFLOW)), (ARCING, reading(1))]
    with serving(*said) as server, mastered(server) as master:
        assert master.connection.interrogation(common_address=1)
        plain = {Kind.STATE, Kind.MEASURED}
        expected = {of: slot.kind for of, _, slot in POINTS.points() if slot.kind in plain}
        told = master.hear(len(expected))
        assert Counter(one.address for one in told) == Counter(expected.keys())
        assert {one.address: one.kind for one in told} == expected
        assert {one.cause for one in told} == {20}
        found = {one.address: one for one in told}
        assert (found[ARCING].amount, found[ARCING].quality) == (1.0, 0)
        assert (found[PEAK].amount, found[PEAK].quality) == (20.0, Quality.OVERFLOW)
        unknown = found[address("over-range")]
        assert unknown.quality == Quality.INVALID | Quality.NOT_TOPICAL
        assert master.told.empty() and not master.unexpected


def test_a_group_is_asked_for_by_itself() -> None:
    with serving() as server, mastered(server) as master:
        assert master.connection.interrogation(common_address=1, qualifier=c104.Qoi.GROUP_1)
        wanted = [of for of, _, slot in POINTS.points() if slot.group == 1]
        told = master.hear(len(wanted))
        assert sorted(one.address for one in told) == wanted
        assert {one.cause for one in told} == {21}


def test_counters_are_told_when_they_are_asked_for_and_never_reset() -> None:
    with serving((TOTAL, reading(70_000))) as server, mastered(server) as master:
        reset = c104.Frz.COUNTER_RESET
        assert not master.connection.counter_interrogation(common_address=1, freeze=reset)
        assert master.connection.counter_interrogation(common_address=1)
        counters = [of for of, _, slot in POINTS.points() if slot.kind is Kind.COUNTER]
        told = master.hear(len(counters))
        assert sorted(one.address for one in told) == counters
        assert {(one.kind, one.cause) for one in told} == {(15, 37)}
        assert {one.address: one.amount for one in told}[TOTAL] == 70_000


def test_a_change_goes_out_at_once_with_its_own_time_in_utc(server: Server, master: Master) -> None:
    server.tell([(ARCING, reading(1, 61.123))])
    (told,) = master.hear(1)
    assert (told.kind, told.cause, told.amount) == (30, 3, 1.0)
    moment = datetime.fromtimestamp(START_US / 1e6, UTC).replace(tzinfo=None)
    assert told.at is not None
    assert (told.at.replace(tzinfo=None) - moment).total_seconds() == pytest.approx(61.123)


def test_nothing_is_lost_and_all_is_in_order_after_a_master_was_away_for_ten_minutes(
    server: Server,
) -> None:
    """What was sent and not confirmed before may come twice; its time tells it."""
    with mastered(server) as master:
        server.tell(states(5))
        assert len(master.hear(5)) == 5
    every_s = AWAY_MIN * 60 / CHANGES
    away = [(ARCING, reading((n + 1) % 2, 5 + n * every_s)) for n in range(1, CHANGES + 1)]
    server.tell(away)
    left = datetime.fromtimestamp(START_US / 1e6 + 5.1, UTC).replace(tzinfo=None)
    with mastered(server) as master:
        told: list[Told] = []
        while len(told) < CHANGES:
            told += [one for one in master.hear(1) if one.at is not None and one.at > left]
        assert [one.amount for one in told] == [float(said.amount) for _, said in away]
        times = [one.at for one in told if one.at is not None]
        assert times == sorted(times)
        assert (times[-1] - times[0]).total_seconds() == pytest.approx(599.4)
        server.tell(states(1, 2_001))
        master.hear(1)
        assert master.told.empty() and not master.unexpected


def test_what_a_master_had_not_confirmed_when_its_line_was_cut_comes_again(
    server: Server,
) -> None:
    """A master that takes frames, confirms none of them and vanishes."""
    with started_from("127.0.0.1", server) as line:
        assert read_frame(line.recv(6)) is not None
        server.tell(states(40))
        assert line.recv(64).startswith(b"\x68")
    with mastered(server) as master:
        told = master.hear(40)
        assert [one.amount for one in told] == [float(n % 2 == 0) for n in range(40)]
        assert master.told.empty()


def test_no_command_is_taken_and_the_clock_is_not_set(server: Server, master: Master) -> None:
    assert not master.connection.clock_sync(common_address=1)
    assert master.station is not None
    command = master.station.add_point(io_address=ARCING, type=c104.Type.C_SC_NA_1)
    assert command is not None
    command.value = True
    assert not command.transmit(cause=c104.Cot.ACTIVATION)
    assert master.connection.is_connected


def started_from(address_: str, server: Server) -> socket.socket:
    """A connection that has asked for data."""
    line = socket.create_connection(
        ("127.0.0.1", server.port), timeout=20, source_address=(address_, 0)
    )
    line.sendall(frame_bytes(Unnumbered(Function.START_ACT)))
    return line


def test_the_same_master_back_takes_over_and_another_is_turned_away(server: Server) -> None:
    confirmed = frame_bytes(Unnumbered(Function.START_CON))
    with started_from("127.0.0.1", server) as first:
        assert first.recv(64) == confirmed
        with started_from("127.0.0.2", server) as other:
            assert ended(other)
        with started_from("127.0.0.1", server) as again:
            assert again.recv(64) == confirmed
            assert ended(first)
            server.tell(states(1))
            assert again.recv(64).startswith(b"\x68")


def ended(line: socket.socket) -> bool:
    """Whether the other side ends it, whatever it says before."""
    try:
        while line.recv(256):
            pass
    except ConnectionResetError:
        return True
    return True


def test_a_master_that_is_not_named_is_turned_away() -> None:
    server = Server(Outstation(port=0, masters=("192.0.2.7",)), station())
    server.start()
    try:
        with socket.create_connection(("127.0.0.1", server.port)) as line:
            line.settimeout(20)
            assert line.recv(64) == b""
    finally:
        server.stop()


HOSTILE = [
    b"GET / HTTP/1.1\r\n\r\n",
    b"\x68\x03\x07\x00\x00",
    b"\x68\xff" + b"\x00" * 300,
    b"\x68\x04\x03\x00\x00\x00",
    b"\x68\x04\x07\x00\x00\x00" + b"\x68\x04\x01\x00\x40\x00",
    b"\x68\x04\x07\x00\x00\x00" + b"\x68\x06\x00\x00\x00\x00\x64\x01",
    b"\x68\x0e\x00\x00\x00\x00\x64\x01\x06\x00\x01\x00\x00\x00\x00\x14",
]


@pytest.mark.parametrize("octets", HOSTILE)
def test_octets_that_break_the_rules_end_their_own_connection_and_nothing_else(
    server: Server, octets: bytes
) -> None:
    with socket.create_connection(("127.0.0.1", server.port)) as line:
        line.settimeout(20)
        line.sendall(octets)
        assert ended(line)
    server.tell(states(2))
    with mastered(server) as master:
        assert len(master.hear(2)) == 2
