"""A unit is one worker's at a time, and one that lost it writes nothing, whenever it wakes up."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from gateway.history.postgres_leases import Fence, LeaseLost, Leases
from gateway.history.postgres_store import PostgresHistory
from gateway.history.postgres_thinning import PostgresThinner
from gateway.history.store import HistoryFault
from tests.gateway.build import UNIT, commit, interval, key
from tests.gateway.history.behaviour import SITE
from tests.postgres import Server

UNITS = [f"{SITE}.m{n}" for n in range(1, 8)]


class OneWorker:
    """A worker's leases, and a writer that its fence stands before."""

    def __init__(self, server: Server, name: str) -> None:
        self.fence = Fence(name)
        self.history = PostgresHistory(server.address(), fence=self.fence)
        self.leases = Leases(self.history, name)
        self.writer: PostgresThinner = self.history.writer(SITE)

    def look(self) -> set[str]:
        """Renews, and commits by what it was told."""
        self.fence.tokens = self.leases.renew()
        return set(self.fence.tokens)

    def stop(self) -> None:
        self.leases.give_up()
        self.writer.close()


@pytest.fixture
def workers(server: Server) -> Iterator[list[OneWorker]]:
    server.empty()
    made = [OneWorker(server, name) for name in ("a", "b")]
    yield made
    for one in made:
        one.stop()


def run_out(worker: OneWorker) -> None:
    """As if time had passed in which the worker was not heard."""
    connection = worker.history.connection()
    for table in ("leases", "workers"):
        connection.execute(f"UPDATE fleet.{table} SET until = '-infinity' WHERE worker = 'a'")
    connection.close()


def test_units_are_shared_evenly_and_each_is_one_workers(workers: list[OneWorker]) -> None:
    a, b = workers
    assert a.leases.tell(UNITS)
    assert a.look() == set(UNITS)
    assert b.look() == set()
    assert len(a.look()) == 4
    assert b.look() == set(UNITS) - a.look()
    assert (a.look() | b.look()) == set(UNITS) and not a.look() & b.look()


def test_one_worker_leads_and_another_does_when_it_is_gone(workers: list[OneWorker]) -> None:
    a, b = workers
    assert a.leases.tell([])
    assert not b.leases.tell(UNITS)
    assert b.look() == set()
    a.leases.give_up()
    assert b.leases.tell(UNITS)
    assert b.look() == set(UNITS)


def test_a_worker_that_wakes_up_too_late_writes_nothing(workers: list[OneWorker]) -> None:
    a, b = workers
    a.leases.tell([UNIT])
    a.look()
    a.writer.append(commit(1, [interval(0)]))
    run_out(a)
    assert b.look() == {UNIT}
    with pytest.raises(LeaseLost, match=UNIT):
        a.writer.append(commit(2, [interval(1), interval(2)]))
    assert a.writer.marks()[key()].upto == 1
    b.writer.append(commit(2, [interval(1)]))
    assert b.writer.marks()[key()].upto == 2
    assert b.leases.renew()[UNIT] == 2


def test_a_lease_that_came_back_after_another_had_it_is_a_new_one(
    workers: list[OneWorker],
) -> None:
    a, b = workers
    a.leases.tell([UNIT])
    a.look()
    run_out(a)
    b.look()
    b.leases.give_up()
    assert a.leases.renew() == {UNIT: 3}
    with pytest.raises(LeaseLost):
        a.writer.append(commit(1, [interval(0)]))
    a.look()
    a.writer.append(commit(1, [interval(0)]))


def test_a_lease_that_ran_out_and_that_nobody_took_is_still_good(
    workers: list[OneWorker],
) -> None:
    a, _ = workers
    a.leases.tell([UNIT])
    a.look()
    run_out(a)
    a.writer.append(commit(1, [interval(0)]))
    assert a.look() == {UNIT}


def test_nobody_takes_a_unit_over_within_a_commit(workers: list[OneWorker]) -> None:
    a, b = workers
    a.leases.tell([UNIT])
    a.look()
    run_out(a)
    with a.writer.together():
        a.fence(a.writer._connection, [UNIT])
        assert b.look() == set()
    assert b.look() == {UNIT}


def test_a_name_that_is_none_is_refused(server: Server) -> None:
    with pytest.raises(HistoryFault, match="letters"):
        Leases(PostgresHistory(server.address()), "no name")
