"""The short form: twenty units against a real broker and a real gateway. No test says how fast."""

from __future__ import annotations

import json
from pathlib import Path

from edge.records import Stream
from edge.wire import read_batch, read_checked
from tests.bench.fleet.loads import load
from tests.bench.fleet.stage import Size
from tests.bench.fleet.units import EPOCH, VirtualUnit


def test_twenty_units_are_heard_through_a_backlog_a_lost_broker_and_a_storm(tmp_path: Path) -> None:
    found = load(tmp_path, Size(sites=2, units=20, crowds=1), seconds=0.5, times=4)
    amounts = {one.name: one.spread.middle for one in found}
    assert min(amounts.values()) > 0
    assert amounts["SQLite: rows counted against receipts"] > 20


def test_a_virtual_unit_sends_what_the_gateway_reads_and_goes_on_from_its_receipts() -> None:
    unit = VirtualUnit("site-000.m0")
    first = read_batch(unit.message(Stream.INTERVAL, 3, 1.0))
    assert [line.seq for line in first.lines] == [1, 2, 3]
    kinds = [read_checked(line.body).kind for line in first.lines]
    assert kinds == ["epoch-start", "interval", "interval"]
    told = {"epoch": EPOCH, "stream": "interval", "upto": 2}
    assert unit.receipted(json.dumps(told).encode(), 2.0) == 2
    assert not unit.delays_s  # the message is not held whole
    unit.goes_back()
    assert [line.seq for line in read_batch(unit.message(Stream.INTERVAL, 2, 3.0)).lines] == [3, 4]
    told["upto"] = 4
    assert unit.receipted(json.dumps(told).encode(), 3.5) == 2
    assert unit.delays_s == [0.5]
