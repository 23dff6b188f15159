"""A file cut short, flipped, gone or old: what is lost is told, and no number is used twice."""

from __future__ import annotations

import random
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from edge.keep import Calibration
from edge.keep.durable_file import DurableFile
from edge.records import EpochStart, Loss, Record, Stream, UnitEvent
from tests.edge.keep.builders import (
    alarm,
    covered,
    minute_row,
    open_file,
    read,
    read_all,
    stamp,
)

ALARMS, MINUTES = 30, 60


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "durable.db"


def filled(path: Path) -> str:
    """A closed file with alarms, minutes, a state and a calibration; its epoch."""
    file = open_file(path)
    for n in range(ALARMS):
        rows: list[Record] = [alarm(n), minute_row(2 * n), minute_row(2 * n + 1)]
        file.commit(rows, {"steps": {"made": n + 1}}, stamp(n))
    file.commit([], {}, stamp(), [Calibration("dry-1", "P7-A", 5, {"re_na": 12})])
    read(file, file.epoch, Stream.ALARM, 0, records_max=5)
    epoch = file.epoch
    file.close()
    return epoch


def account_for(file: DurableFile, epoch: str, stream: Stream, made: int) -> int:
    """Every number of an old epoch is held as it was, or in a tombstone; how many were lost."""
    found = read_all(file, epoch, stream)
    assert covered(found) == list(range(1, made + 2))
    for seq, record in found:
        if isinstance(record, EpochStart | Loss):
            continue
        assert record == (alarm(seq - 2) if stream is Stream.ALARM else minute_row(seq - 2))
    return sum(record.count for _, record in found if isinstance(record, Loss))


def check_new_epoch(file: DurableFile, epoch: str, reason: str) -> None:
    """A new epoch that chains to the old one, whose first numbers say so."""
    assert (file.new_epoch, file.epoch != epoch) == (reason, True)
    start = read_all(file, file.epoch, Stream.ALARM)[0][1]
    assert start == EpochStart(previous_epoch=epoch, previous_last=ALARMS + 1, reason=reason)
    assert file.commit([alarm(99)], {}, stamp(99)) == {Stream.ALARM: 2}


def told_loss(file: DurableFile) -> int:
    _, event = read_all(file, file.epoch, Stream.HEALTH)[1]
    assert isinstance(event, UnitEvent)
    lost = event.detail["lost_records"]
    assert isinstance(lost, int)
    return lost


@pytest.mark.parametrize("cut_percent", [1, 10, 35, 60, 85, 99])
def test_a_file_cut_short_is_repaired_and_every_number_accounted_for(
    path: Path, cut_percent: int
) -> None:
    epoch = filled(path)
    size = path.stat().st_size
    with path.open("r+b") as damaged:
        damaged.truncate(size * cut_percent // 100)
    file = open_file(path)
    check_new_epoch(file, epoch, "repaired")
    lost = account_for(file, epoch, Stream.ALARM, ALARMS)
    lost += account_for(file, epoch, Stream.INTERVAL, MINUTES)
    assert told_loss(file) >= lost
    assert path.with_name("durable.db.broken").exists()
    file.close()
    again = open_file(path)
    assert (again.new_epoch, again.epoch) == ("", file.epoch)
    again.close()


def test_flipped_bits_never_pass_as_records(path: Path, tmp_path: Path) -> None:
    epoch = filled(path)
    chance = random.Random(7)
    outcomes = set()
    for trial in range(25):
        folder = tmp_path / f"trial-{trial}"
        folder.mkdir()
        copy = folder / "durable.db"
        shutil.copy(path.with_name("durable.db.witness"), folder / "durable.db.witness")
        content = bytearray(path.read_bytes())
        for _ in range(8):
            content[chance.randrange(len(content))] ^= 1 << chance.randrange(8)
        copy.write_bytes(content)
        file = open_file(copy)
        lost = account_for(file, epoch, Stream.ALARM, ALARMS)
        lost += account_for(file, epoch, Stream.INTERVAL, MINUTES)
        assert file.snapshot("steps") in (None, {"made": ALARMS})
        outcomes.add((file.new_epoch, lost > 0))
        file.close()
    assert ("repaired", True) in outcomes
    assert ("", True) in outcomes, "no flip was found only when the row was read"


@pytest.mark.parametrize(
    ("content", "reason"),
    [
        (b"", "file-missing"),
        (b"\0" * 8192, "repaired"),
        (b"no database at all " * 300, "repaired"),
    ],
)
def test_a_file_of_nothing_or_rubbish_starts_anew_and_says_what_is_lost(
    path: Path, content: bytes, reason: str
) -> None:
    epoch = filled(path)
    path.write_bytes(content)
    file = open_file(path)
    check_new_epoch(file, epoch, reason)
    assert account_for(file, epoch, Stream.ALARM, ALARMS) == ALARMS + 1
    assert told_loss(file) >= ALARMS + 1 + MINUTES + 1
    file.close()


def test_a_missing_file_is_told_by_the_witness(path: Path) -> None:
    epoch = filled(path)
    path.unlink()
    file = open_file(path)
    check_new_epoch(file, epoch, "file-missing")
    assert account_for(file, epoch, Stream.ALARM, ALARMS) == ALARMS + 1
    file.close()


def test_an_older_image_of_the_file_is_found_behind(path: Path, tmp_path: Path) -> None:
    epoch = filled(path)
    image = tmp_path / "image"
    shutil.copy(path, image)
    file = open_file(path)
    file.commit([alarm(n) for n in range(ALARMS, ALARMS + 7)], {}, stamp())
    file.close()
    shutil.copy(image, path)
    file = open_file(path)
    assert file.new_epoch == "found-behind"
    assert account_for(file, epoch, Stream.ALARM, ALARMS + 7) == 7
    start = read_all(file, file.epoch, Stream.ALARM)[0][1]
    assert start == EpochStart(
        previous_epoch=epoch, previous_last=ALARMS + 8, reason="found-behind"
    )
    file.close()


def test_without_its_witness_the_file_alone_goes_on(path: Path) -> None:
    epoch = filled(path)
    path.with_name("durable.db.witness").unlink()
    file = open_file(path)
    assert (file.epoch, file.new_epoch) == (epoch, "")
    assert account_for(file, epoch, Stream.ALARM, ALARMS) == 0
    file.close()


def test_a_torn_witness_is_read_from_its_other_slot(path: Path) -> None:
    epoch = filled(path)
    witness = path.with_name("durable.db.witness")
    content = bytearray(witness.read_bytes())
    content[40:60] = bytes(20)
    witness.write_bytes(content)
    file = open_file(path)
    assert (file.epoch, file.new_epoch) == (epoch, "")
    file.close()


def test_files_without_anything_in_common_do_not_share_an_epoch(tmp_path: Path) -> None:
    epochs = set()
    for n in range(5):
        (tmp_path / str(n)).mkdir()
        file = open_file(tmp_path / str(n) / "durable.db")
        epochs.add(file.epoch)
        file.close()
    assert len(epochs) == 5


def test_rows_of_the_old_epoch_are_sent_under_their_old_numbers(path: Path) -> None:
    epoch = filled(path)
    path.write_bytes(path.read_bytes()[: path.stat().st_size * 9 // 10])
    file = open_file(path)
    batch = read(file, epoch, Stream.ALARM, 0)
    assert batch is not None
    assert batch.epoch == epoch
    assert covered(read_all(file, epoch, Stream.ALARM)) == list(range(1, ALARMS + 2))
    last = read_all(file, epoch, Stream.ALARM)[-1][0]
    assert file.release(epoch, Stream.ALARM, last) == last
    file.close()


@pytest.mark.parametrize("moved", ["", "-wal"])
def test_a_repair_cut_while_files_are_exchanged_goes_on_when_opened(path: Path, moved: str) -> None:
    epoch = filled(path)
    whole = path.with_name("durable.db.repaired")
    shutil.copy(path, whole)
    db = sqlite3.connect(whole)
    db.execute("DELETE FROM meta")
    db.commit()
    db.close()
    path.write_bytes(b"rubbish" * 1000)
    path.with_name("durable.db-wal").write_bytes(b"the broken file's own")
    if moved:
        for suffix in ("-wal", ""):
            path.with_name("durable.db" + suffix).rename(
                path.with_name("durable.db.broken" + suffix)
            )
    file = open_file(path)
    assert file.new_epoch == "repaired"
    assert account_for(file, epoch, Stream.ALARM, ALARMS) == 0
    file.close()


def test_a_repair_cut_before_it_was_whole_is_done_again(path: Path) -> None:
    epoch = filled(path)
    path.with_name("durable.db.repaired").write_bytes(b"half of something")
    file = open_file(path)
    assert (file.epoch, file.new_epoch) == (epoch, "")
    assert not path.with_name("durable.db.repaired").exists()
    file.close()


def test_an_index_that_does_not_fit_its_table_is_found_at_opening_not_at_every_commit(
    path: Path,
) -> None:
    epoch = filled(path)
    with closing(sqlite3.connect(path)) as db:
        query = "SELECT rootpage FROM sqlite_schema WHERE name='sqlite_autoindex_state_1'"
        (page,) = db.execute(query).fetchone()
    content = bytearray(path.read_bytes())
    at = content.index(b"steps", (page - 1) * 4096, page * 4096)
    content[at] ^= 1
    path.write_bytes(content)
    file = open_file(path)
    check_new_epoch(file, epoch, "repaired")
    assert file.snapshot("steps") == {"made": ALARMS}
    assert told_loss(file) == 0
    file.close()


def test_a_number_that_was_never_given_out_is_no_record_and_no_loss_of_millions(
    tmp_path: Path,
) -> None:
    file = open_file(tmp_path / "durable.db")
    file.commit([alarm(n) for n in range(ALARMS)], {}, stamp())
    (last,) = file._db.execute("SELECT MAX(place) FROM outbox WHERE rank=5").fetchone()
    file._db.execute("UPDATE outbox SET place=place+? WHERE place=?", (1 << 22, last))
    found = read_all(file, file.epoch, Stream.ALARM)
    assert covered(found) == list(range(1, ALARMS + 2))
    assert isinstance(found[-1][1], Loss) and found[-1][1].count == 1
    assert read_all(file, file.epoch, Stream.ALARM) == found
    file.close()
