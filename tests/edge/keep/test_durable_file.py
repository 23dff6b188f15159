"""One durable file: numbers, releases, windows, owners."""

from __future__ import annotations

import re
import sqlite3
import threading
from pathlib import Path

import pytest

from edge.keep import Calibration, FileInUse, ForeignFile
from edge.keep.durable_file import DurableFile
from edge.keep.ledger import RANK_OF, Stamp
from edge.keep.owned import OwnedConnection
from edge.records import EpochStart, Loss, Record, Stream, UnitEvent
from edge.wire import EPOCH_PATTERN, MESSAGE_BYTES_MAX, batch_message, body_line
from tests.edge.keep.builders import (
    UNIT,
    alarm,
    health_row,
    minute_row,
    open_file,
    read,
    read_all,
    stamp,
)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "durable.db"


def test_a_new_file_starts_an_epoch_and_every_stream_says_so(path: Path) -> None:
    file = open_file(path)
    assert re.fullmatch(EPOCH_PATTERN, file.epoch)
    assert file.new_epoch == "created"
    for stream in Stream:
        seq, record = read_all(file, file.epoch, stream)[0]
        assert seq == 1
        assert record == EpochStart(previous_epoch="", previous_last=0, reason="created")
    file.close()


def test_an_event_in_the_health_stream_tells_of_the_new_epoch(path: Path) -> None:
    file = open_file(path)
    _, record = read_all(file, file.epoch, Stream.HEALTH)[1]
    assert isinstance(record, UnitEvent)
    assert record.detail == {"reason": "created", "lost_records": 0}
    file.close()


def test_numbers_go_on_by_stream_and_across_openings(path: Path) -> None:
    file = open_file(path)
    assert file.commit([minute_row(0), alarm(0), minute_row(1)], {}, stamp()) == {
        Stream.INTERVAL: 3,
        Stream.ALARM: 2,
    }
    epoch = file.epoch
    file.close()
    file = open_file(path)
    assert (file.epoch, file.new_epoch) == (epoch, "")
    assert file.commit([alarm(1)], {}, stamp(1)) == {Stream.ALARM: 3}
    found = [record for _, record in read_all(file, epoch, Stream.INTERVAL)[1:]]
    assert found == [minute_row(0), minute_row(1)]
    file.close()


def test_state_and_calibration_come_back_as_they_were_committed(path: Path) -> None:
    file = open_file(path)
    dry = Calibration("dry-1", "P7-A", 5, {"re_na": 12, "im_na": 600_000})
    newer = Calibration("dry-2", "P7-A", 9, {"re_na": 13, "im_na": 610_000})
    file.commit([], {"decide": {"on": [1, 2]}, "measure": {"phase": 0.1}}, stamp(), [dry])
    file.commit([], {"decide": {"on": []}}, stamp(1), [dry, newer])
    file.close()
    file = open_file(path)
    assert file.snapshot("decide") == {"on": []}
    assert file.snapshot("measure") == {"phase": 0.1}
    assert file.snapshot("unheard-of") is None
    assert file.calibrations() == (dry, newer)
    file.close()


@pytest.mark.parametrize("change", ["UPDATE calibration SET dated_us=1", "DELETE FROM calibration"])
def test_a_calibration_can_be_neither_changed_nor_removed(path: Path, change: str) -> None:
    file = open_file(path)
    file.commit([], {}, stamp(), [Calibration("dry-1", "P7-A", 5, {})])
    file.close()
    db = sqlite3.connect(path)
    with pytest.raises(sqlite3.IntegrityError, match="never"):
        db.execute(change)
    db.close()


def test_another_content_for_a_known_calibration_is_a_bug(path: Path) -> None:
    file = open_file(path)
    file.commit([], {}, stamp(), [Calibration("dry-1", "P7-A", 5, {"re_na": 1})])
    with pytest.raises(AssertionError, match="dry-1"):
        file.commit([alarm(0)], {}, stamp(), [Calibration("dry-1", "P7-A", 5, {"re_na": 2})])
    assert len(read_all(file, file.epoch, Stream.ALARM)) == 1
    file.close()


def test_a_commit_that_fails_leaves_neither_record_nor_state(path: Path) -> None:
    file = open_file(path)
    with pytest.raises(TypeError):
        file.commit([alarm(0)], {"decide": object()}, stamp())
    bad = Calibration("dry-1", "P7-A", 5, {"re_na": 1})
    with pytest.raises(AssertionError):
        file.commit([alarm(0)], {"decide": 1}, stamp(), [bad, Calibration("dry-1", "", 5, 2)])
    assert file.snapshot("decide") is None
    assert file.calibrations() == ()
    assert len(read_all(file, file.epoch, Stream.ALARM)) == 1
    file.close()


def test_a_receipt_releases_up_to_its_number(path: Path) -> None:
    file = open_file(path)
    file.commit([alarm(n) for n in range(9)], {}, stamp())
    read_all(file, file.epoch, Stream.ALARM)
    before = file.backlog()
    assert file.release(file.epoch, Stream.ALARM, 4) == 4
    assert file.release(file.epoch, Stream.ALARM, 4) == 0
    assert file.release(file.epoch, Stream.ALARM, 2) == 0
    assert file.backlog() == before - 4
    file.close()
    file = open_file(path)
    assert file.backlog() == before - 4
    file.close()


def test_a_receipt_above_what_was_handed_out_releases_nothing(path: Path) -> None:
    file = open_file(path)
    file.commit([alarm(n) for n in range(9)], {}, stamp())
    read(file, file.epoch, Stream.ALARM, 0, records_max=3)
    before = file.backlog()
    assert file.release(file.epoch, Stream.ALARM, 4) == 0
    assert file.release(file.epoch, Stream.ALARM, 10) == 0
    assert file.release(file.epoch, Stream.ALARM, 1 << 62) == 0
    assert file.backlog() == before
    file.close()


def test_a_receipt_of_another_epoch_or_stream_releases_nothing(path: Path) -> None:
    file = open_file(path)
    file.commit([alarm(0)], {}, stamp())
    read_all(file, file.epoch, Stream.ALARM)
    before = file.backlog()
    assert file.release("1-00000000deadbeef", Stream.ALARM, 1) == 0
    assert file.release(file.epoch, Stream.WEATHER, 1) == 0
    assert file.backlog() == before
    file.close()


def test_many_releases_need_no_commit_to_become_durable(path: Path) -> None:
    file = open_file(path)
    file.commit([alarm(n) for n in range(600)], {}, stamp())
    read_all(file, file.epoch, Stream.ALARM)
    file.release(file.epoch, Stream.ALARM, 300)
    other = sqlite3.connect(path)
    found = other.execute("SELECT released FROM lanes WHERE stream='alarm'").fetchone()
    other.close()
    assert found == (300,)
    file.close()


def test_released_rows_are_sent_again_to_a_gateway_that_asks(path: Path) -> None:
    file = open_file(path)
    file.commit([alarm(n) for n in range(9)], {}, stamp())
    sent = read_all(file, file.epoch, Stream.ALARM)
    file.release(file.epoch, Stream.ALARM, 10)
    lane = file.reopen(file.epoch, Stream.ALARM, 3)
    assert lane is not None
    assert (lane.released, lane.last) == (2, 10)
    assert read_all(file, file.epoch, Stream.ALARM, lane.released) == sent[2:]
    file.close()


@pytest.mark.parametrize(("epoch", "first"), [("", 0), ("", 11), ("1-00000000deadbeef", 1)])
def test_a_range_that_is_not_there_is_not_opened_again(path: Path, epoch: str, first: int) -> None:
    file = open_file(path)
    file.commit([alarm(n) for n in range(9)], {}, stamp())
    assert file.reopen(epoch or file.epoch, Stream.ALARM, first) is None
    file.close()


def test_what_is_no_longer_held_is_answered_by_a_tombstone_that_stays_the_same(path: Path) -> None:
    file = open_file(path)
    file.commit([alarm(n) for n in range(9)], {}, stamp())
    read_all(file, file.epoch, Stream.ALARM)
    file.release(file.epoch, Stream.ALARM, 6)
    assert file.trim_released(stamp(5).t_utc_us) == 6
    file.reopen(file.epoch, Stream.ALARM, 3)
    first = read_all(file, file.epoch, Stream.ALARM, 2)
    seq, loss = first[0]
    assert isinstance(loss, Loss)
    assert (loss.first, loss.last, loss.count, seq) == (3, 6, 4, 6)
    assert loss.reason == "no-longer-held"
    assert [seq for seq, _ in first] == [6, 7, 8, 9, 10]
    assert read_all(file, file.epoch, Stream.ALARM, 2) == first
    file.close()


def test_a_message_never_grows_beyond_what_the_gateway_reads(path: Path) -> None:
    file = open_file(path)
    file.commit([minute_row(n) for n in range(300)], {}, stamp())
    after, messages = 0, 0
    while (batch := read(file, file.epoch, Stream.INTERVAL, after, records_max=500)) is not None:
        assert len(batch_message(batch)) <= MESSAGE_BYTES_MAX
        assert batch.lines[0].seq == after + 1
        after = batch.lines[-1].seq
        messages += 1
    assert after == 301
    assert messages < 10
    file.close()


def test_a_message_holds_rows_of_one_boot_under_its_own_clock(path: Path) -> None:
    file = open_file(path)
    file.commit([alarm(0)], {}, stamp(1))
    file.commit([alarm(1)], {}, Stamp("boot-2", "none", 5, 7))
    first = read(file, file.epoch, Stream.ALARM, 0)
    second = read(file, file.epoch, Stream.ALARM, 2)
    assert first is not None
    assert second is not None
    assert (first.boot, first.clock, len(first.lines)) == ("boot-1", "gnss", 2)
    assert (second.boot, second.clock, second.lines[0].t_utc_us) == ("boot-2", "none", 7)
    assert first.unit == UNIT
    file.close()


def test_numbers_are_promised_durably_before_they_are_handed_out(path: Path) -> None:
    file = open_file(path)
    file.commit([alarm(n) for n in range(9)], {}, stamp())
    read(file, file.epoch, Stream.ALARM, 0, records_max=4)
    other = sqlite3.connect(path)
    (promised,) = other.execute("SELECT promised FROM lanes WHERE stream='alarm'").fetchone()
    other.close()
    assert promised >= 4
    file.close()


def test_every_commit_waits_for_the_disk(path: Path) -> None:
    file = open_file(path)
    assert file._db.execute("PRAGMA synchronous").fetchone() == (2,)
    assert file._db.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    file.close()


def test_a_call_from_another_thread_is_a_bug(path: Path) -> None:
    file = open_file(path)
    raised: list[BaseException] = []

    def call() -> None:
        try:
            file.backlog()
        except AssertionError as bug:
            raised.append(bug)

    thread = threading.Thread(target=call)
    thread.start()
    thread.join()
    assert "another thread" in str(raised[0])
    file.close()


def test_a_second_daemon_on_the_same_folder_is_told_so(path: Path) -> None:
    file = open_file(path)
    with pytest.raises(FileInUse, match="data folder of its own"):
        open_file(path)
    file.close()
    open_file(path).close()


def test_another_units_file_is_refused_and_left_as_it_is(path: Path) -> None:
    open_file(path).close()
    before = path.read_bytes()
    with pytest.raises(ForeignFile, match=r"capegull\.pole-7"):
        DurableFile(path, "capegull.pole-8", stamp(), quota_bytes=1 << 22)
    assert path.read_bytes() == before
    open_file(path).close()


def test_a_file_of_a_newer_release_is_refused(path: Path) -> None:
    open_file(path).close()
    db = sqlite3.connect(path)
    db.execute("PRAGMA user_version=99")
    db.commit()
    db.close()
    with pytest.raises(ForeignFile, match="newer release"):
        open_file(path)


def test_a_record_too_large_for_a_message_is_a_bug(path: Path) -> None:
    file = open_file(path)
    with pytest.raises(AssertionError, match="bytes"):
        file.commit([minute_row(flags=("x" * 70_000,))], {}, stamp())
    file.close()


def test_the_backlog_and_the_free_share_tell_of_what_is_held(path: Path) -> None:
    file = open_file(path)
    empty_ppm, start = file.storage_free_ppm(), file.backlog()
    file.commit([health_row(n) for n in range(500)], {}, stamp())
    assert file.backlog() == start + 500
    assert 0 < file.storage_free_ppm() < empty_ppm
    file.close()


def test_every_kind_of_record_has_its_place_in_the_order_of_giving_up() -> None:
    assert set(RANK_OF) == set(Record.__args__)


def test_the_body_that_is_sent_is_the_line_that_was_committed(path: Path) -> None:
    file = open_file(path)
    file.commit([alarm(0)], {}, stamp())
    batch = read(file, file.epoch, Stream.ALARM, 1)
    assert batch is not None
    assert batch.lines[0].body == body_line(alarm(0))
    file.close()


def test_a_bug_in_sql_is_not_taken_for_a_fault_of_the_disk(path: Path) -> None:
    file = open_file(path)
    owned: OwnedConnection = file._owned
    with pytest.raises(sqlite3.OperationalError, match="no such table"):
        owned.write(lambda: file._db.execute("SELECT * FROM no_such"))
    file.commit([alarm(0)], {}, stamp())
    file.close()
