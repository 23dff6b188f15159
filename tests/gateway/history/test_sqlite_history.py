"""The SQLite store: the common behaviour, and what only files can do."""

from __future__ import annotations

import json
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path

import pytest
from sqlite_utils import Database

from edge.records import HealthRow, LineStatus, Stream
from edge.wire import canonical
from gateway.history.columns import TABLE_OF, TABLES, Lies
from gateway.history.lock import DataHeld, hold_data
from gateway.history.migrations import steps
from gateway.history.sqlite_store import SqliteHistory
from gateway.history.sqlite_write import SqliteWriter
from gateway.history.store import HistoryFault, JournalLine, StreamKey
from tests.gateway.build import commit, health, interval, key
from tests.gateway.history.behaviour import EVER, SITE, HistoryBehaviour

ROOT = Path(__file__).parents[3]

ENDLESS_WRITER = """
import sys
from pathlib import Path
from gateway.history.sqlite_store import SqliteHistory
from tests.gateway.build import commit, interval
writer = SqliteHistory(Path(sys.argv[1])).writer("north-head")
first = 1 + max((mark.upto for mark in writer.marks().values()), default=0)
while True:
    writer.append(commit(first, [interval(n) for n in range(first, first + 7)]))
    first += 7
    print(first - 1, flush=True)
"""


@pytest.fixture
def history(tmp_path: Path) -> SqliteHistory:
    return SqliteHistory(tmp_path)


class TestSqliteHistory(HistoryBehaviour):
    """The behaviour of every store."""


def test_every_column_of_a_record_is_in_its_table(tmp_path: Path) -> None:
    connection = sqlite3.connect(tmp_path / "x.sqlite3", isolation_level=None)
    steps.apply(Database(connection, execute_plugins=False))
    for table in TABLES:
        found = [row[1] for row in connection.execute(f"PRAGMA table_info({table.name})")]
        assert sorted(found) == sorted(("stream_id", "seq", *table.columns))
    connection.close()


def test_each_migration_leaves_a_note_and_a_failing_one_leaves_nothing(tmp_path: Path) -> None:
    connection = sqlite3.connect(tmp_path / "x.sqlite3", isolation_level=None)
    database = Database(connection, execute_plugins=False)
    connection.execute("CREATE TABLE deposit (in_the_way)")
    with pytest.raises(sqlite3.OperationalError, match="deposit"):
        steps.apply(database)
    tables = {row[0] for row in connection.execute("SELECT name FROM sqlite_master")}
    assert "lines" in tables
    assert "maintenance" not in tables
    connection.execute("DROP TABLE deposit")
    steps.apply(database)
    notes = dict(connection.execute("SELECT step, note FROM migration_notes"))
    assert set(notes) == {one.name for one in steps.applied(database)}
    assert all(notes.values())
    connection.close()


def test_a_full_disk_refuses_the_commit_and_leaves_the_rest_as_it_was(tmp_path: Path) -> None:
    path = tmp_path / "north-head.sqlite3"
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("PRAGMA journal_mode = WAL")
    writer = SqliteWriter(connection, path)
    writer.append(commit(1, [interval(0)]))
    pages = connection.execute("PRAGMA page_count").fetchone()[0]
    connection.execute(f"PRAGMA max_page_count = {pages + 2}")
    with pytest.raises(HistoryFault, match="full"):
        writer.append(commit(2, [interval(n) for n in range(1, 400)]))
    connection.execute("PRAGMA max_page_count = 1000000")
    writer.append(commit(2, [interval(1)]))
    assert writer.marks()[key()].upto == 2
    writer.close()


def test_what_is_no_database_is_said_to_be_none(tmp_path: Path, history: SqliteHistory) -> None:
    (tmp_path / "north-head.sqlite3").write_bytes(b"no database at all" * 500)
    with pytest.raises(HistoryFault, match=r"north-head\.sqlite3.*not a database"):
        history.writer(SITE)


def test_a_reader_cannot_write_the_file(history: SqliteHistory) -> None:
    writer = history.writer(SITE)
    reader = history.reader(SITE)
    with pytest.raises(HistoryFault, match="readonly"):
        reader.ask("DELETE FROM marks")
    reader.close()
    writer.close()


def test_a_folder_is_held_by_one_program_at_a_time(tmp_path: Path) -> None:
    with (
        hold_data(tmp_path, "seafret serve"),
        pytest.raises(DataHeld, match="held by seafret serve"),
        hold_data(tmp_path, "seafret load"),
    ):
        pass
    with hold_data(tmp_path, "seafret load"):
        pass


def test_a_folder_that_cannot_be_made_is_named(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(HistoryFault, match="file/data"), hold_data(tmp_path / "file/data", "x"):
        pass


@pytest.fixture
def writing_process(tmp_path: Path) -> Iterator[list[subprocess.Popen[str]]]:
    started: list[subprocess.Popen[str]] = []
    yield started
    for process in started:
        process.kill()
        process.wait()
        assert process.stdout is not None
        process.stdout.close()


def test_a_writer_killed_at_any_moment_leaves_marks_and_rows_that_agree(
    tmp_path: Path, history: SqliteHistory, writing_process: list[subprocess.Popen[str]]
) -> None:
    promised = 0
    for commits_seen in (1, 5, 17):
        process = subprocess.Popen(
            [sys.executable, "-c", ENDLESS_WRITER, str(tmp_path)],
            stdout=subprocess.PIPE,
            text=True,
            cwd=ROOT,
        )
        writing_process.append(process)
        assert process.stdout is not None
        for _ in range(commits_seen):
            promised = int(process.stdout.readline())
        process.kill()
        process.wait()
        reader = history.reader(SITE)
        upto = reader.marks()[key()].upto
        assert upto >= promised
        assert [one.seq for one in reader.lines(key())] == list(range(1, upto + 1))
        assert len(reader.intervals("A1", *EVER)) == upto
        assert reader.ask("PRAGMA integrity_check").fetchone()[0] == "ok"
        reader.close()


def test_a_line_of_the_alarm_journal_can_be_neither_changed_nor_taken_away(
    tmp_path: Path,
) -> None:
    writer = SqliteHistory(tmp_path).writer(SITE)
    writer.append_journal([JournalLine(1, 1, b"{}")])
    writer.close()
    connection = sqlite3.connect(tmp_path / f"{SITE}.sqlite3")
    for change in ("UPDATE alarm_journal SET at_us = 2", "DELETE FROM alarm_journal"):
        with pytest.raises(sqlite3.IntegrityError, match="only ever added to"):
            connection.execute(change)
    connection.close()


def test_a_writer_that_has_ended_refuses_the_journal_as_a_fault_of_the_history(
    tmp_path: Path,
) -> None:
    writer = SqliteHistory(tmp_path).writer(SITE)
    writer.close()
    with pytest.raises(HistoryFault):
        writer.append_journal([JournalLine(1, 1, b"{}")])


def test_health_rows_from_before_their_new_fields_are_read_as_they_were_sent(
    tmp_path: Path,
) -> None:
    row = health(1, reasons=("clock",), line_status=LineStatus.UNKNOWN)
    plain = json.loads(canonical(asdict(row)))
    for later in ("noise_na", "certificate_days", "firmware"):
        del plain[later]
    sent = canonical(plain)
    path = tmp_path / "north-head.sqlite3"
    connection = sqlite3.connect(path, isolation_level=None)
    database = Database(connection, execute_plugins=False)
    steps.apply(database, stop_before="005-noise-certificate-firmware")
    words: list[str] = []

    def word(text: str) -> int:
        if text not in words:
            words.append(text)
            connection.execute("INSERT INTO words VALUES (?, ?)", (len(words), text))
        return words.index(text) + 1

    lies = {place.field: place.lies for place in TABLE_OF[HealthRow].places}
    cells = {name: found for name, found in plain.items() if name != "kind"}
    for name, found in cells.items():
        if lies[name] in (Lies.WORD, Lies.WORDS):
            text = found if lies[name] is Lies.WORD else canonical(found).decode()
            cells[name] = word(text)
        elif lies[name] is Lies.DETAIL:
            cells[name] = canonical(found).decode()
    marks = ", ".join("?" * (len(cells) + 2))
    names = ", ".join(cells)
    connection.execute(
        f"INSERT INTO health (stream_id, seq, {names}) VALUES ({marks})", (1, 1, *cells.values())
    )
    connection.execute(
        "INSERT INTO marks VALUES (1, ?, ?, 'health', 1, 1)", (key().unit, key().epoch)
    )
    connection.execute(
        "INSERT INTO lines VALUES (1, 1, x'00', ?, ?, ?, 5, 6, NULL, NULL, NULL, NULL, NULL)",
        (word("health"), word("boot-1"), word("gnss")),
    )
    SqliteWriter(connection, path).close()
    reader = SqliteHistory(tmp_path).reader(SITE)
    (line,) = reader.lines(StreamKey(key().unit, key().epoch, Stream.HEALTH))
    assert line.body == sent
    (row,) = reader.latest_health()
    assert row.record.noise_na == {} and row.record.firmware == ""
    assert row.record.certificate_days is None
    reader.close()
