"""A site moved from files into a database and back loses nothing, however often it is cut."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from edge.faults import Exit
from edge.records import Stream
from gateway.__main__ import main
from gateway.history import moving
from gateway.history.loaded import MAINTENANCE, Columns
from gateway.history.moving import MOVED, move_site, sums_of
from gateway.history.opening import Histories
from gateway.history.postgres_store import PostgresHistory
from gateway.history.sqlite_store import SqliteHistory
from gateway.history.store import (
    Commit,
    HistoryFault,
    JournalLine,
    MarkMove,
    RawMessage,
    RefusedPayload,
    SecurityEvent,
)
from tests.gateway.build import MINUTE_US, START_US, UNIT, commit, interval, key
from tests.gateway.history.behaviour import EVER, SITE
from tests.gateway.history.kinds import every_kind
from tests.postgres import Server


def nobody_looks(table: str, rows: int) -> None:
    pass


@pytest.fixture
def filled(memory: Path) -> SqliteHistory:
    """A site with something in every table."""
    history = SqliteHistory(memory / "files")
    writer = history.writer(SITE)
    for stream in Stream:
        writer.append(commit(1, [one for at, one in every_kind() if at is stream], key(stream)))
    rows = [interval(n, insulator=f"B{n % 3}") for n in range(400)]
    writer.append(commit(1, rows, key(epoch="2-00000000000000ff")))
    later = key(epoch="3-00000000000000aa")
    raw = RawMessage(later, 1, 4, b'{"v":2}')
    refused = RefusedPayload(1, "a\0topic\x1a", "not-json", "x\ty\\n\n", b"\xff\x00", 2)
    event = SecurityEvent(5, UNIT, "identity", "said another name", 7)
    marks = {later: MarkMove(None, 4)}
    writer.append(Commit(1, marks=marks, raw=(raw,), refused=(refused,), events=(event,)))
    writer.append_journal([JournalLine(n, n, b"{}") for n in (1, 2)])
    writer.append_decisions([JournalLine(1, 1, b"{}")])
    start = np.arange(START_US, START_US + 500 * MINUTE_US, MINUTE_US)
    columns = {"start_us": start, "duration_us": np.full(500, MINUTE_US), "peak_ua": start % 7}
    with writer.together():
        writer.add_columns(Columns.INTERVAL, "C1", "elsewhere", columns)
        row = {"insulator": "C1", "start_us": START_US, "action": "wash", "note": "ü"}
        writer.add_note(MAINTENANCE, "people", row)
    writer.pack(START_US + 400 * 24 * 60 * MINUTE_US)
    writer.close()
    return history


def test_there_and_back_again_every_row_and_every_sum_is_the_same(
    filled: SqliteHistory, server: Server, memory: Path
) -> None:
    server.empty()
    database, back = PostgresHistory(server.address()), SqliteHistory(memory / "back")
    for source, target in ((filled, database), (database, back)):
        compared = move_site(source, target, SITE, nobody_looks)
        assert all(one.same for one in compared), compared
    first, last = filled.reader(SITE), back.reader(SITE)
    assert sums_of(first) == sums_of(last)
    assert sums_of(first)["halfcycles"] > 0
    assert first.marks() == last.marks()
    for one in first.marks():
        assert first.lines(one) == last.lines(one)
    first.close()
    last.close()
    for history in (database, back):
        writer = history.writer(SITE)
        upto = writer.marks()[key()].upto
        writer.append(commit(upto + 1, [interval(5_000, insulator="new")]))
        writer.close()
        reader = history.reader(SITE)
        assert len(reader.intervals("new", *EVER)) == 1
        reader.close()


def test_a_move_that_was_cut_goes_on_and_brings_nothing_twice(
    filled: SqliteHistory, server: Server, monkeypatch: pytest.MonkeyPatch
) -> None:
    server.empty()
    monkeypatch.setattr(moving, "ROWS_AT_A_TIME", 100)
    database = PostgresHistory(server.address())
    for cut_after in (3, 9):
        with pytest.raises(KeyboardInterrupt):
            move_site(filled, database, SITE, cutting(cut_after))
    compared = move_site(filled, database, SITE, nobody_looks)
    assert all(one.same for one in compared), compared
    assert {one.name: one.rows[1] for one in compared}["interval"] == 402


def cutting(after: int) -> Callable[[str, int], None]:
    calls = iter(range(after))

    def progress(table: str, rows: int) -> None:
        if next(calls, None) is None:
            raise KeyboardInterrupt

    return progress


def test_a_row_that_differs_is_found(filled: SqliteHistory, server: Server) -> None:
    server.empty()
    database = PostgresHistory(server.address())
    move_site(filled, database, SITE, nobody_looks)
    connection = database.connection()
    connection.execute(f'UPDATE "site_{SITE}".interval SET peak_ua = 1 WHERE start_us % 7 = 0')
    connection.close()
    compared = [compare(filled, database, table) for table in MOVED]
    assert [one.name for one in compared if not one.same] == ["interval"]


def compare(source: Histories, target: Histories, table: moving.Moved) -> moving.Compared:
    before, after = source.reader(SITE), target.reader(SITE)
    try:
        return moving.compared(before, after, table)
    finally:
        before.close()
        after.close()


def test_a_target_that_has_rows_of_its_own_is_refused(
    filled: SqliteHistory, server: Server
) -> None:
    server.empty()
    database = PostgresHistory(server.address())
    writer = database.writer(SITE)
    writer.append(commit(1, [interval(1)]))
    writer.close()
    with pytest.raises(HistoryFault, match="rows in marks already"):
        move_site(filled, database, SITE, nobody_looks)


def test_the_command_says_what_was_compared(
    filled: SqliteHistory, server: Server, memory: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    server.empty()
    folder = str(memory / "files")
    assert main(["move", folder, server.address()]) == Exit.FINE
    told = capsys.readouterr().out
    assert f"{SITE}:" in told and "402 rows" in told and "sum of halfcycles" in told
    assert "DIFFERS" not in told
    assert main(["move", folder, server.address()]) == Exit.OUT_OF_REACH
    assert "rows in marks already" in capsys.readouterr().err
