"""Upgrade and roll-back with a backlog: no release loses what another one kept."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from edge.keep import ForeignFile, opening, schema
from edge.keep.durable_file import DurableFile
from edge.records import Stream
from edge.wire import SCHEMA_VERSION, batch_message, read_record
from gateway.history.sqlite_store import SqliteHistory
from gateway.ingest.intake import Arrival, Intake
from tests.campaigns.chain import Chain
from tests.campaigns.gate import SITE
from tests.campaigns.numbered import number_of, numbers
from tests.campaigns.unit_process import FILE_NAME
from tests.edge.keep.builders import UNIT, read

BACKLOG, LONG_BACKLOG = 2_000, 10_000


@pytest.fixture
def newer(monkeypatch: pytest.MonkeyPatch) -> Iterator[pytest.MonkeyPatch]:
    """A newer release of the unit: its files have the next schema."""
    for module in (opening, schema):
        monkeypatch.setattr(module, "SCHEMA_NUMBER", schema.SCHEMA_NUMBER + 1)
    yield monkeypatch


def upgraded(chain: Chain) -> None:
    """What a newer release would do to the file when it first opens it."""
    with closing(sqlite3.connect(chain.unit / FILE_NAME)) as db:
        db.execute(f"PRAGMA user_version={schema.SCHEMA_NUMBER}")


def rolled_back(folder: Path, newer: pytest.MonkeyPatch, rows: int) -> None:
    chain = Chain(folder)
    with newer.context() as older:
        for module in (opening, schema):
            older.setattr(module, "SCHEMA_NUMBER", 1)
        with chain.opened() as file:
            chain.make(file, rows)
            chain.deliver(file, messages=3)
    upgraded(chain)
    with chain.opened() as file:
        assert file.new_epoch == ""
        chain.make(file, 100)
        chain.deliver(file, messages=3)
    with newer.context() as older:
        for module in (opening, schema):
            older.setattr(module, "SCHEMA_NUMBER", 1)
        with pytest.raises(ForeignFile, match="install the newer release again"), chain.opened():
            pass
    with chain.opened() as file:
        assert file.new_epoch == ""
        chain.deliver(file)
    found = chain.judged()
    assert found.is_clean(), found


def test_a_roll_back_is_refused_without_harm_and_the_newer_release_delivers_the_backlog(
    tmp_path: Path, newer: pytest.MonkeyPatch
) -> None:
    rolled_back(tmp_path, newer, BACKLOG)


@pytest.mark.long
def test_a_roll_back_with_ten_thousand_records_loses_nothing(
    tmp_path: Path, newer: pytest.MonkeyPatch
) -> None:
    rolled_back(tmp_path, newer, LONG_BACKLOG)


def of_the_next_schema(payload: bytes) -> bytes:
    """The same message as a newer unit would say it, with a field that nobody here knows."""
    plain = json.loads(payload)
    plain["v"] = SCHEMA_VERSION + 1
    plain["mood"] = "hopeful"
    return json.dumps(plain, separators=(",", ":"), sort_keys=True).encode()


def test_an_older_gateway_keeps_a_newer_units_messages_whole_and_receipts_them(
    tmp_path: Path,
) -> None:
    """The unit is upgraded in the middle of a backlog, and rolled back before its end."""
    chain = Chain(tmp_path)
    with chain.opened() as file:
        chain.make(file, BACKLOG)
        deliver_in_turn(chain, file)
    with closing(SqliteHistory(chain.history).reader(SITE)) as reader:
        held = {
            key.stream: {number_of(line.record) for line in reader.lines(key)}
            for key in reader.marks()
        }
        for raw in reader.raw_messages():
            plain = json.loads(raw.payload)
            bodies = [json.dumps(one["body"]).encode() for one in plain["records"]]
            held[raw.key.stream] |= {number_of(read_record(body)) for body in bodies}
        kept_raw = len(reader.raw_messages())
    print(f"{BACKLOG} records, {kept_raw} messages kept raw")
    assert kept_raw > 3
    for stream in (Stream.ALARM, Stream.HEALTH, Stream.INTERVAL):
        assert set(numbers(stream, BACKLOG)) <= held[stream]


def deliver_in_turn(chain: Chain, file: DurableFile) -> None:
    """Every third message is of the next schema."""
    intake = Intake(SqliteHistory(chain.history), [SITE], lambda *_: None)
    sent = 0
    for lane in file.lanes():
        after = 0
        while batch := read(file, lane.epoch, lane.stream, after):
            payload = batch_message(batch)
            payload = of_the_next_schema(payload) if sent % 3 == 2 else payload
            topic = f"seafret/1/{UNIT}/up/{lane.stream.value}"
            (standing,) = intake.commit([Arrival(topic, payload, False, at_us=1)], at_us=1)
            after, sent = batch.lines[-1].seq, sent + 1
            assert standing.upto == after
            file.release(lane.epoch, lane.stream, after)
    assert file.backlog() == 0
    intake.close()
