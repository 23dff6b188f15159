"""The alarm desk over a real history: what is shown is on the disk, and nothing heard is lost."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from edge.records import Condition, LineStatus, Record, Stream
from gateway.alarms.actions import Acknowledge
from gateway.alarms.journal import Point, What
from gateway.alarms.messages import MONITOR_SILENT
from gateway.alarms.states import Shown
from gateway.console.desk import AlarmDesk, Around
from gateway.console.summary import Summary, fold
from gateway.history.sqlite_store import SqliteHistory
from gateway.history.store import Commit, HistoryFault, SiteWriter
from gateway.settings import Site, Unit
from tests.gateway.build import (
    MINUTE_US,
    NEXT_EPOCH,
    START_US,
    UNIT,
    commit,
    condition,
    epoch_start,
    health,
    interval,
    key,
    loss,
)

SITE = "north-head"
REGISTER = {SITE: Site(title="North Head", units={"m1": Unit(insulators=("A1", "B2"))})}
ARCING = Point(UNIT, "arcing", "A1")


class Room:
    """A desk with its history, told the time."""

    def __init__(self, folder: Path) -> None:
        self.history = SqliteHistory(folder)
        self.file = folder / f"{SITE}.sqlite3"
        self.writer: SiteWriter = self.history.writer(SITE)
        self.summary = Summary()
        self.now_us = START_US
        self.deaf = False
        self.desk = self.open()

    def open(self) -> AlarmDesk:
        self.desk = AlarmDesk(
            Around(
                history=self.history,
                writer=lambda site: self.writer,
                register=REGISTER,
                summary=lambda: self.summary,
                now_us=lambda: self.now_us,
                deaf=lambda: self.deaf,
                stale_after_us=3 * MINUTE_US,
            )
        )
        return self.desk

    def commit(
        self, first: int, *records: Record, stream: Stream = Stream.ALARM, epoch: str = ""
    ) -> None:
        made = commit(first, records, key(stream, epoch=epoch) if epoch else key(stream))
        made = Commit(self.now_us, made.entries, made.marks)
        self.writer.append(made)
        self.summary = fold(self.summary, SITE, made)
        self.desk.on_commit(SITE, made)

    def tick(self, minute: float) -> None:
        self.now_us = START_US + round(minute * MINUTE_US)
        self.desk.tick()

    def shown(self, point: Point = ARCING) -> Shown:
        return self.desk.lists()[SITE].of(point).shown

    def sabotage(self, *statements: str) -> None:
        with closing(sqlite3.connect(self.file, isolation_level=None)) as saboteur:
            for statement in statements:
                saboteur.execute(statement)


@pytest.fixture
def room(tmp_path: Path) -> Iterator[Room]:
    room = Room(tmp_path)
    yield room
    room.writer.close()


def test_what_is_heard_is_in_the_journal_before_it_is_shown(room: Room) -> None:
    room.commit(1, epoch_start(), condition(0))
    assert room.shown() is Shown.NEW
    assert [one.what for one in room.desk.journal(SITE)] == [
        What.BEGAN_ANEW,
        What.HEARD,
        What.ANNOUNCED,
    ]


def test_a_journal_that_cannot_be_written_delays_the_list_and_loses_nothing(room: Room) -> None:
    room.commit(1, epoch_start())
    room.sabotage("ALTER TABLE alarm_journal RENAME TO taken_away")
    room.commit(2, condition(0))
    room.commit(3, condition(0, alarm="over-range", subject="B2"))
    assert room.shown() is Shown.NORMAL
    room.sabotage("ALTER TABLE taken_away RENAME TO alarm_journal")
    room.tick(1)
    assert room.shown() is Shown.NEW
    assert room.shown(Point(UNIT, "over-range", "B2")) is Shown.NEW
    heard = [one for one in room.desk.journal(SITE) if one.what is What.HEARD]
    assert [one.seq for one in heard if one.point.unit] == [2, 3]


def test_an_action_that_cannot_be_written_has_not_happened(room: Room) -> None:
    room.commit(1, epoch_start(), condition(0))
    room.sabotage("ALTER TABLE alarm_journal RENAME TO taken_away")
    with pytest.raises(HistoryFault):
        room.desk.act(SITE, Acknowledge(at_us=START_US, by="mk", occurrences=(1,)))
    assert room.shown() is Shown.NEW
    room.sabotage("ALTER TABLE taken_away RENAME TO alarm_journal")
    room.desk.act(SITE, Acknowledge(at_us=START_US, by="mk", occurrences=(1,)))
    assert room.shown() is Shown.ACKNOWLEDGED


def test_a_desk_opened_again_shows_the_same_and_notes_that_it_was_away(room: Room) -> None:
    room.commit(1, epoch_start(), condition(0))
    room.desk.act(SITE, Acknowledge(at_us=START_US, by="mk", occurrences=(1,)))
    before = room.desk.lists()[SITE]
    room.now_us += 60 * MINUTE_US
    after = room.open().lists()[SITE]
    assert after.kept == before.kept
    last = room.desk.journal(SITE)[-1]
    assert (last.what, last.from_us, last.until_us) == (
        What.RESTARTED,
        START_US,
        START_US + 60 * MINUTE_US,
    )


def test_a_journal_changed_by_a_foreign_hand_is_refused_with_its_line(room: Room) -> None:
    room.commit(1, epoch_start(), condition(0))
    room.sabotage(
        "DROP TRIGGER alarm_journal_no_update",
        "UPDATE alarm_journal SET body = x'7b7d' WHERE number = 2",
    )
    with pytest.raises(HistoryFault, match="line 2"):
        room.open()


def test_lost_lines_of_the_alarm_stream_leave_no_alarm_believed_cleared_or_sure(
    room: Room,
) -> None:
    room.commit(1, epoch_start(), condition(0))
    room.commit(3, loss(3, 4))
    kept = room.desk.lists()[SITE].of(ARCING)
    assert (kept.shown, kept.orphaned) == (Shown.NEW, True)
    room.commit(4, condition(9, Condition.OUT))
    kept = room.desk.lists()[SITE].of(ARCING)
    assert (kept.shown, kept.orphaned) == (Shown.CLEARED, False)


def test_a_new_epoch_goes_on_from_the_old_one(room: Room) -> None:
    room.commit(1, epoch_start(), condition(0))
    room.commit(1, epoch_start("1-0"), condition(1), epoch=NEXT_EPOCH)
    assert [one.seq for one in room.desk.journal(SITE) if one.what is What.HEARD] == [2, 2]
    assert not room.desk.lists()[SITE].of(ARCING).orphaned
    assert room.open().lists()[SITE].heard == {(UNIT, key().epoch): 2, (UNIT, NEXT_EPOCH): 2}


def test_a_unit_that_falls_silent_is_told_and_one_whose_line_is_out_of_service_is_not(
    room: Room,
) -> None:
    silent = Point(UNIT, MONITOR_SILENT, "")
    room.commit(1, epoch_start(), health(0), stream=Stream.HEALTH)
    for minute in range(20):
        room.tick(minute)
    assert room.shown(silent) is Shown.NEW
    room.commit(3, health(20, line_status=LineStatus.OUT_OF_SERVICE), stream=Stream.HEALTH)
    room.tick(20)
    assert room.shown(silent) is Shown.CLEARED


def test_the_roll_up_counts_against_the_register_and_names_by_the_rows(room: Room) -> None:
    rows = [interval(0, one, arcing_peak_ua=peak) for one, peak in (("A1", 5), ("B2", 9))]
    room.commit(1, epoch_start(), *rows, stream=Stream.INTERVAL)
    room.commit(1, epoch_start(), condition(0), condition(0, subject="B2"))
    held = room.desk.lists()[SITE]
    assert held.of(Point("", "site-arcing", "")).priority == 1
    assert held.roll.named == ("B2", "A1")
    assert held.roll.counts == {"arcing": 2, "data-lost": 0, "installed": 2, "watched": 2}
