"""A back-up is a whole moment, taken while the gateway writes, and comes back to the last byte."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest

from edge.faults import Exit
from gateway.__main__ import main
from gateway.history.backup import LIST_NAME, Backup, back_up, prune, read_backup, restore
from gateway.history.lock import DataHeld, hold_data
from gateway.history.sqlite_store import SqliteHistory
from gateway.history.store import HistoryFault
from tests.gateway.build import START_US, commit, epoch_start, interval, key

SITE = "north-head"
SECOND_US = 1_000_000
DAY_US = 86_400 * SECOND_US


def written(data: Path, rows: int) -> SqliteHistory:
    history = SqliteHistory(data)
    writer = history.writer(SITE)
    writer.append(commit(1, [epoch_start(), *(interval(n) for n in range(rows))]))
    writer.close()
    return history


def bodies(data: Path) -> list[bytes]:
    reader = SqliteHistory(data).reader(SITE)
    try:
        return [line.body for line in reader.lines(key())]
    finally:
        reader.close()


def names(backup: Backup) -> list[str]:
    return [one.name for one in backup.files]


def test_a_history_comes_back_as_it_was_and_what_was_there_is_put_aside(tmp_path: Path) -> None:
    data = tmp_path / "data"
    written(data, 30)
    before = bodies(data)
    made = back_up(data, tmp_path / "out", START_US)
    writer = SqliteHistory(data).writer(SITE)
    writer.append(commit(32, [interval(99)]))
    writer.close()
    aside = restore(read_backup(made.folder), names(made), data, START_US + SECOND_US)
    assert bodies(data) == before
    assert aside is not None and len(bodies(aside)) == len(before) + 1


def test_a_restored_history_goes_on_where_the_back_up_was_taken(tmp_path: Path) -> None:
    written(tmp_path / "data", 3)
    made = back_up(tmp_path / "data", tmp_path / "out", START_US)
    assert restore(made, names(made), tmp_path / "other", START_US) is None
    writer = SqliteHistory(tmp_path / "other").writer(SITE)
    assert [mark.upto for mark in writer.marks().values()] == [4]
    writer.append(commit(5, [interval(9)]))
    writer.close()
    assert len(bodies(tmp_path / "other")) == 5


def test_a_back_up_taken_while_commits_go_on_holds_whole_commits_only(tmp_path: Path) -> None:
    data, stop, going = tmp_path / "data", threading.Event(), threading.Event()
    writer = written(data, 1).writer(SITE)

    def write() -> None:
        first = 3
        while not stop.is_set():
            writer.append(commit(first, [interval(first), interval(first + 1)]))
            first += 2
            going.set()

    writing = threading.Thread(target=write)
    writing.start()
    try:
        assert going.wait(20)
        made = [back_up(data, tmp_path / "out", START_US + n * SECOND_US) for n in range(3)]
    finally:
        stop.set()
        writing.join(20)
        writer.close()
    for n, one in enumerate(made):
        restored = tmp_path / f"restored-{n}"
        restore(read_backup(one.folder), names(one), restored, START_US)
        held = bodies(restored)
        assert len(held) % 2 == 0 and held == bodies(data)[: len(held)]


def test_a_bit_that_has_flipped_is_found_before_anything_is_touched(tmp_path: Path) -> None:
    data = tmp_path / "data"
    written(data, 5)
    made = back_up(data, tmp_path / "out", START_US)
    path = made.folder / f"{SITE}.sqlite3"
    octets = bytearray(path.read_bytes())
    octets[len(octets) // 2] ^= 1
    path.write_bytes(octets)
    with pytest.raises(HistoryFault, match="is not what was written"):
        read_backup(made.folder)


@pytest.mark.parametrize(
    "text", ["", "[]", "{}", '{"format": "seafret-backup-1", "files": [{"name": "../x.sqlite3"}]}']
)
def test_a_folder_whose_list_is_no_list_is_no_back_up(tmp_path: Path, text: str) -> None:
    (tmp_path / LIST_NAME).write_text(text, encoding="utf-8")
    with pytest.raises(HistoryFault):
        read_backup(tmp_path)


def test_a_list_cannot_lead_out_of_its_folder(tmp_path: Path) -> None:
    listed = (
        '{"format": "seafret-backup-1", "taken": "", "files": '
        '[{"name": "../x.sqlite3", "size_bytes": 1, "sha256": ""}]}'
    )
    (tmp_path / LIST_NAME).write_text(listed, encoding="utf-8")
    with pytest.raises(HistoryFault, match="its list names"):
        read_backup(tmp_path)


def test_nothing_is_restored_while_a_gateway_holds_the_data(tmp_path: Path) -> None:
    data = tmp_path / "data"
    written(data, 2)
    made = back_up(data, tmp_path / "out", START_US)
    before = bodies(data)
    with hold_data(data, "seafret serve"), pytest.raises(DataHeld, match="seafret serve"):
        restore(made, names(made), data, START_US)
    assert bodies(data) == before


def test_only_whole_back_ups_are_counted_and_the_newest_stay(tmp_path: Path) -> None:
    data, out = tmp_path / "data", tmp_path / "out"
    written(data, 1)
    made = [back_up(data, out, START_US + n * SECOND_US).folder for n in range(4)]
    (made[3] / LIST_NAME).unlink()
    (out / "notes").mkdir()
    assert prune(out, 2) == [made[0]]
    assert sorted(out.iterdir()) == sorted([*made[1:], out / "notes"])


def test_what_is_left_of_a_back_up_that_was_cut_off_goes_and_one_that_is_being_taken_stays(
    tmp_path: Path,
) -> None:
    data, out = tmp_path / "data", tmp_path / "out"
    written(data, 1)
    taken = [back_up(data, out, START_US + days * DAY_US).folder for days in (0, 5)]
    cut = out / f"{taken[0].name}.part"
    going = out / "20261128T235959Z.part"
    for one in (cut, going, out / "mine.part"):
        one.mkdir()
        (one / f"{SITE}.sqlite3").write_bytes(b"half")
    assert prune(out, 2) == [cut]
    assert sorted(out.iterdir()) == sorted([*taken, going, out / "mine.part"])


def test_the_commands_take_a_back_up_and_bring_one_site_back(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    data, out = tmp_path / "data", tmp_path / "out"
    written(data, 4)
    before = bodies(data)
    assert main(["backup", "--data", str(data), "--out", str(out), "--keep", "3"]) == Exit.FINE
    (folder,) = out.iterdir()
    assert str(folder) in capsys.readouterr().out
    asked = ["restore", str(folder), "--data", str(data), "--site", SITE]
    assert main(asked) == Exit.FINE
    assert bodies(data) == before
    assert main([*asked[:-1], "elsewhere"]) == Exit.WRONG_USE
    assert main(["backup", "--data", str(tmp_path / "none"), "--out", str(out)]) == 69
