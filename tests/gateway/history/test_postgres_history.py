"""The PostgreSQL store: the common behaviour, and what only a server can do."""

from __future__ import annotations

import subprocess
import threading
from collections.abc import Iterator
from pathlib import Path

import psycopg
import pytest

from edge.records import ClockCorrection, Stream
from gateway.history.chunks import WEEK_US
from gateway.history.loaded import Columns
from gateway.history.postgres_connection import PostgresConnection
from gateway.history.postgres_schema import PART_US, WEEKS_A_PART
from gateway.history.postgres_store import PostgresHistory
from gateway.history.sqlite_store import SqliteHistory
from gateway.history.store import (
    SUMMED,
    Commit,
    HistoryFault,
    JournalLine,
    MarkConflict,
    MarkMove,
    RefusedPayload,
)
from tests.gateway.build import MINUTE_US, START_US, commit, entry, interval, key, loss
from tests.gateway.history.behaviour import EVER, SITE, HistoryBehaviour
from tests.postgres import Server, tools

ROLES = Path(__file__).parents[3] / "deploy" / "postgres" / "roles.sql"
PART = START_US // PART_US * PART_US
"""Start of the four weeks of the tests' rows."""


@pytest.fixture
def history(server: Server) -> PostgresHistory:
    server.empty()
    return PostgresHistory(server.address())


class TestPostgresHistory(HistoryBehaviour):
    """The behaviour of every store."""


@pytest.fixture
def asked(server: Server) -> Iterator[psycopg.Connection[tuple[object, ...]]]:
    with psycopg.connect(server.address(), autocommit=True) as connection:
        yield connection


def parts(asked: psycopg.Connection[tuple[object, ...]]) -> set[str]:
    query = "SELECT relname FROM pg_class WHERE relkind = 'r' AND relname ~ '_[0-9]+$'"
    return {str(name) for (name,) in asked.execute(query)}


def test_rows_lie_in_tables_of_four_weeks_which_are_dropped_when_they_are_thinned(
    history: PostgresHistory, asked: psycopg.Connection[tuple[object, ...]], tmp_path: Path
) -> None:
    weeks = [PART + week * WEEK_US for week in (0, 1, 3, WEEKS_A_PART)]
    rows = [
        interval(n, start_us=start_us + n * MINUTE_US, insulator=name)
        for start_us in weeks
        for n in range(40)
        for name in ("A1", "A2")
    ]
    number = PART // PART_US
    sums, counts = [], []
    for store in (history, SqliteHistory(tmp_path)):
        writer = store.writer(SITE)
        assert writer.newest_us() is None
        writer.append(commit(1, rows))
        assert writer.newest_us() == rows[-1].start_us
        assert writer.pack(PART + 2 * WEEK_US) == 4
        done = writer.thin(PART + 5 * WEEK_US - 1) if store is history else None
        assert done is None or (done.weeks, done.rows_before, done.rows_after) == (6, 240, 24)
        writer.close()
        reader = store.reader(SITE)
        found = reader.exposure("A1", *EVER)
        counts.append(found.pop("rows"))
        sums.append({name: found[name] for name in SUMMED})
        reader.close()
    assert sums[0] == sums[1]
    assert counts == [12 + 40, 160]
    here = {name for name in parts(asked) if int(name.split("_")[1]) in (number, number + 1)}
    assert here == {f"interval_{number + 1}", f"lines_{number + 1}"}
    reader = history.reader(SITE)
    assert len(reader.intervals("A1", *EVER)) == 40
    assert reader.loaded_columns(Columns.HOURLY, "A2", ["halfcycles"], *EVER)["start_us"].size == 3
    assert reader.marks()[key()].upto == len(rows)
    reader.close()


def test_a_table_that_another_program_dropped_is_made_again_for_a_late_row(
    history: PostgresHistory,
) -> None:
    one, other = history.writer(SITE), history.writer(SITE)
    one.append(commit(1, [interval(1)]))
    other.thin(PART + 8 * WEEK_US)
    late = commit(2, [interval(2)])
    with pytest.raises(HistoryFault, match="lines_of_other_kinds"):
        one.append(late)
    one.append(late)
    reader = history.reader(SITE)
    assert reader.exposure("A1", *EVER)["rows"] == 2
    for opened in (one, other, reader):
        opened.close()


def test_a_row_that_comes_late_takes_the_copy_of_its_week_away_whoever_made_it(
    history: PostgresHistory,
) -> None:
    one, other = history.writer(SITE), history.writer(SITE)
    one.append(commit(1, [interval(1)]))
    assert other.pack(PART + 8 * WEEK_US) == 1
    one.append(commit(2, [interval(2)]))
    reader = history.reader(SITE)
    found = reader.live_columns(Columns.INTERVAL, "A1", ["peak_ua"], *EVER)
    assert found["start_us"].tolist() == [interval(1).start_us, interval(2).start_us]
    assert other.pack(PART + 8 * WEEK_US) == 1
    for opened in (one, other, reader):
        opened.close()


def test_the_same_lines_again_change_nothing_and_a_loss_again_replaces_itself(
    history: PostgresHistory,
) -> None:
    writer, reader = history.writer(SITE), history.reader(SITE)
    sent = commit(1, [interval(0), interval(1)])
    writer.append(sent)
    with pytest.raises(MarkConflict):
        writer.append(sent)
    with pytest.raises(MarkConflict):
        writer.append(Commit(1, sent.entries, {key(): MarkMove(0, 2)}))
    grown = Commit(1, (entry(5, loss(3, 5)),), {key(): MarkMove(2, 5)})
    writer.append(grown)
    again = Commit(1, (entry(5, loss(3, 5)),), {key(): MarkMove(5, 5)})
    writer.append(again)
    assert [one.seq for one in reader.lines(key())] == [1, 2, 5]
    assert reader.exposure("A1", *EVER)["rows"] == 2
    writer.close()
    reader.close()


def test_a_corrected_clock_moves_rows_into_the_table_of_their_time(
    history: PostgresHistory,
) -> None:
    writer, reader = history.writer(SITE), history.reader(SITE)
    before = interval(1, start_us=MINUTE_US, flags=("clock-unsynchronised",))
    writer.append(commit(1, [before]))
    shift_us = START_US - before.start_us
    correction = ClockCorrection(
        boot="boot-1", from_counter=0, to_counter=1 << 40, shift_us=shift_us, error_us=1, source="n"
    )
    writer.append(commit(1, [correction], key(Stream.HEALTH)))
    after = interval(2, start_us=2 * MINUTE_US, flags=("clock-unsynchronised",))
    writer.append(commit(2, [after]))
    assert [row.start_us for row in reader.intervals("A1", *EVER)] == [
        START_US, START_US + MINUTE_US,
    ]  # fmt: skip
    assert reader.lines(key())[0].record == before
    writer.close()
    reader.close()


def test_two_programs_that_write_one_site_at_once_spoil_nothing(
    history: PostgresHistory,
) -> None:
    faults: list[BaseException] = []

    def write(unit: str) -> None:
        writer = history.writer(SITE)
        try:
            for n in range(1, 60, 3):
                rows = [interval(k, insulator=f"shared-{k}") for k in range(n, n + 3)]
                writer.append(commit(n, rows, key(unit=unit)))
        except BaseException as fault:
            faults.append(fault)
        finally:
            writer.close()

    threads = [threading.Thread(target=write, args=(f"{SITE}.m{n}",)) for n in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert not faults
    reader = history.reader(SITE)
    assert len(reader.insulators()) == 60
    assert all(reader.exposure(f"shared-{n}", *EVER)["rows"] == 3 for n in range(1, 61))
    reader.close()


def test_texts_with_bytes_that_the_server_does_not_keep_come_back_as_they_were(
    history: PostgresHistory,
) -> None:
    writer, reader = history.writer(SITE), history.reader(SITE)
    odd = RefusedPayload(1, "a\0b\x1a0\\N\t", "None", "\\.\n\r\x1a", b"\0\xff", 2)
    writer.append(Commit(1, refused=(odd,)))
    writer.append(commit(1, [interval(1, insulator="a\0\x1a1", calibration="None\\N")]))
    assert reader.refusals() == [odd]
    assert reader.lines(key())[0].record == interval(1, insulator="a\0\x1a1", calibration="None\\N")
    writer.close()
    reader.close()


def test_a_reader_cannot_write_and_a_journal_is_only_added_to(history: PostgresHistory) -> None:
    writer, reader = history.writer(SITE), history.reader(SITE)
    writer.append_journal([JournalLine(1, 1, b"{}")])
    with pytest.raises(HistoryFault, match="read-only"):
        reader.ask("DELETE FROM marks")
    for change in ("UPDATE alarm_journal SET at_us = 2", "DELETE FROM alarm_journal"):
        with pytest.raises(Exception, match="only ever added to"):
            writer._connection.execute(change)
    writer.close()
    reader.close()


def test_the_role_of_readers_reads_every_site_and_writes_none(
    server: Server, history: PostgresHistory, asked: psycopg.Connection[tuple[object, ...]]
) -> None:
    asked.execute("CREATE DATABASE roles")
    try:
        command = [str(tools() / "psql"), "-v", "ON_ERROR_STOP=1", "-q", "-f", str(ROLES)]
        subprocess.run([*command, server.address("roles")], check=True)
        for name in ("writer", "reader"):
            asked.execute(f"CREATE ROLE a_{name} LOGIN IN ROLE seafret_{name}")
        asked.execute("ALTER ROLE a_writer SET role = 'seafret_writer'")
        writer = PostgresHistory(server.address("roles", "a_writer")).writer(SITE)
        writer.append(commit(1, [interval(1)]))
        writer.close()
        readers = PostgresHistory(server.address("roles", "a_reader"))
        reader = readers.reader(SITE)
        assert len(reader.intervals("A1", *EVER)) == 1
        reader.close()
        with pytest.raises(HistoryFault, match="permission denied"):
            readers.writer("another")
        alone: PostgresConnection = readers.connection()
        with pytest.raises(Exception, match="permission denied"):
            alone.execute(f'DELETE FROM "site_{SITE}".marks')
        alone.close()
    finally:
        asked.execute("DROP DATABASE roles WITH (FORCE)")
        for name in ("a_writer", "a_reader", "seafret_writer", "seafret_reader"):
            asked.execute(f"DROP ROLE IF EXISTS {name}")
