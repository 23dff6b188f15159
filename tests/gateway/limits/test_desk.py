"""A change of limits from its proposal to the unit's word, and everything that can come between."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from edge.daemon.limit_sheets import InForce
from edge.records import Condition, UnitEvent
from gateway.alarms.memory import AlarmList
from gateway.books import BookFault
from gateway.limits.book import BOOK
from gateway.limits.changing import ChangeRefused
from gateway.limits.judging import judged
from gateway.limits.versions import Status
from tests.gateway.limits.build import UNIT, Room, arcing, plan


@pytest.fixture
def room(tmp_path: Path) -> Iterator[Room]:
    room = Room(tmp_path)
    yield room
    room.close()


def limit(room: Room) -> int:
    return room.unit.plan.insulators["old-post"][0].limits["arcing_halfcycles_per_min"].at


def test_a_version_is_in_force_only_when_its_unit_has_said_so(room: Room) -> None:
    assert room.propose(arcing(12)).status is Status.PROPOSED
    assert room.sent == []
    assert room.approve(1).status is Status.APPROVED
    assert (limit(room), room.desk.of(UNIT).in_force) == (12, 0)
    room.answer()
    version = room.desk.of(UNIT).versions[1]
    assert (version.status, version.author, version.approver) == (Status.IN_FORCE, "mk", "jo")
    assert version.settings_sha == room.unit.plan.settings_sha
    assert room.desk.fault(UNIT) is None


@pytest.mark.parametrize("by", ["mk", "MK", " mk "])
def test_an_author_never_approves_whatever_the_spelling(room: Room, by: str) -> None:
    room.propose(arcing(12), by="mk")
    with pytest.raises(ChangeRefused, match="second person"):
        room.approve(1, by=by)
    assert room.sent == []


def test_no_limit_goes_without_owner_reason_and_a_reason_for_the_change(room: Room) -> None:
    for alarms in (
        {"arcing": {"limits": {"arcing_halfcycles_per_min": 5}}},
        {"arcing": {"owner": "", "reason": "x"}},
        {"arcing": {"owner": "x", "reason": "x", "limits": {"arcing_halfcycles_per_min": 0.5}}},
        {"no-alarm": {"owner": "x", "reason": "x"}},
        {"arcing": {"owner": "x", "reason": "x", "limits": {"no_such_quantity": 5}}},
    ):
        with pytest.raises(ChangeRefused):
            room.propose(alarms)
    assert room.books.read(BOOK) == []


def test_a_limit_that_the_units_sensor_could_never_show_is_refused_before_anybody_approves(
    tmp_path: Path,
) -> None:
    room = Room(tmp_path)
    narrow = room.copies[UNIT].model_copy(
        update={
            "insulator": tuple(
                one.model_copy(
                    update={
                        "ranges": tuple(
                            part.model_copy(update={"full_scale_ma": 20.0}) for part in one.ranges
                        )
                    }
                )
                for one in room.copies[UNIT].insulator
            )
        }
    )
    room.copies[UNIT] = narrow
    with pytest.raises(ChangeRefused, match="sensor"):
        room.propose(arcing(12))
    room.close()


def test_a_sheet_is_sent_again_until_it_is_confirmed_and_then_no_more(room: Room) -> None:
    room.away = True
    room.propose(arcing(12))
    room.approve(1)
    for _ in range(5):
        room.pass_minutes(1)
    assert len(room.sent) == 6
    room.away = False
    room.pass_minutes(1)
    room.answer()
    room.pass_minutes(30)
    assert len(room.sent) == 7
    assert room.desk.of(UNIT).in_force == 1


def test_a_limit_that_does_not_arrive_is_a_fault_that_the_alarm_list_is_told(room: Room) -> None:
    room.away = True
    room.propose(arcing(12))
    room.approve(1)
    room.pass_minutes(9)
    assert room.desk.fault(UNIT) is None
    room.pass_minutes(1)
    fault = room.desk.fault(UNIT)
    assert fault is not None and "has not confirmed" in fault.reason
    ((unit, change),) = judged(AlarmList("gannet-stack"), [(UNIT, fault)], room.now_us)
    assert (unit, change.alarm, change.condition) == (UNIT, "limits-not-in-force", Condition.IN)
    room.away = False
    room.pass_minutes(1)
    room.answer()
    assert room.desk.fault(UNIT) is None


def test_a_unit_that_refuses_is_a_fault_at_once_and_gets_no_more_of_it(tmp_path: Path) -> None:
    room = Room(tmp_path, copies=False)
    highest = 2**62
    content = {
        "near-margin": {"owner": "x", "reason": "x", "limits": {"arcing_peak_ua": highest}},
        "arcing": {"owner": "x", "reason": "x", "priority": 2},
    }
    room.propose(content)
    room.approve(1)
    room.answers = [
        UnitEvent(
            event="limits-refused",
            at_us=room.now_us,
            detail={"version": 1, "in_force": 0, "reason": "settings", "why": "the sensor clips"},
        )
    ]
    room.unit = InForce(None, plan(None))
    room.answer()
    fault = room.desk.fault(UNIT)
    assert fault is not None and "the sensor clips" in fault.reason
    room.pass_minutes(60)
    assert len(room.sent) == 1
    room.close()


def test_going_back_is_one_step_of_one_person_and_a_new_version_with_the_old_content(
    room: Room,
) -> None:
    room.in_force(arcing(12))
    room.in_force(arcing(40))
    assert limit(room) == 40
    version = room.roll_back()
    assert (version.number, version.origin, version.status) == (3, 1, Status.APPROVED)
    room.answer()
    assert (limit(room), room.desk.of(UNIT).in_force) == (12, 3)
    assert [room.desk.of(UNIT).versions[n].status for n in (1, 2, 3)] == [
        Status.REPLACED,
        Status.REPLACED,
        Status.IN_FORCE,
    ]
    room.roll_back(to=0)
    room.answer()
    assert (
        limit(room) == plan(None).insulators["old-post"][0].limits["arcing_halfcycles_per_min"].at
    )
    assert room.unit.plan.settings_sha == plan(None).settings_sha


def test_going_back_to_what_never_stood_is_refused(room: Room) -> None:
    with pytest.raises(ChangeRefused, match="no approved version"):
        room.roll_back()
    room.in_force(arcing(12))
    room.propose(arcing(13))
    with pytest.raises(ChangeRefused, match="never in force; one may go back to 0, 1"):
        room.roll_back(to=2)


def test_a_proposal_that_a_later_approval_has_overtaken_is_to_be_made_again(room: Room) -> None:
    room.propose(arcing(12))
    room.in_force(arcing(13))
    with pytest.raises(ChangeRefused, match="propose it again"):
        room.approve(1)
    assert room.withdraw(1).status is Status.WITHDRAWN
    with pytest.raises(ChangeRefused, match="withdrawn"):
        room.approve(1)


def test_a_unit_that_lost_its_file_gets_its_limits_again(room: Room) -> None:
    room.in_force(arcing(12))
    room.unit = InForce(None, plan(None))
    room.starts()
    assert limit(room) == 12
    room.answer()
    assert room.desk.of(UNIT).in_force == 1 and room.desk.fault(UNIT) is None


def test_a_start_that_says_the_version_confirms_it_where_the_answer_was_lost(room: Room) -> None:
    room.propose(arcing(12))
    room.approve(1)
    room.answers.clear()
    room.starts()
    assert room.desk.of(UNIT).in_force == 1
    assert room.desk.of(UNIT).versions[1].settings_sha == room.unit.plan.settings_sha


def test_a_unit_that_outlived_the_gateways_book_is_a_fault_until_a_higher_version_comes(
    tmp_path: Path,
) -> None:
    old = Room(tmp_path / "old")
    for at in (12, 13, 14):
        old.in_force(arcing(at))
    old.close()
    room = Room(tmp_path / "new")
    room.unit = old.unit
    room.starts()
    assert room.propose(arcing(15)).number == 4
    room.approve(4)
    room.answer()
    assert (limit(room), room.desk.of(UNIT).in_force) == (15, 4)
    room.close()


def test_records_made_with_other_settings_than_those_confirmed_are_a_fault(room: Room) -> None:
    room.in_force(arcing(12))
    room.unit = InForce(room.unit.sheet, plan(None))
    assert room.desk.fault(UNIT) is None, "the unit's next record may still be of before"
    room.pass_minutes(10)
    fault = room.desk.fault(UNIT)
    assert fault is not None and "decides with settings" in fault.reason


def test_everything_is_there_again_after_a_restart_and_goes_on(room: Room) -> None:
    room.in_force(arcing(12))
    room.away = True
    room.propose(arcing(13))
    room.approve(2)
    before = room.desk.of(UNIT)
    assert room.open().of(UNIT) == before
    room.away = False
    room.pass_minutes(1)
    room.answer()
    assert room.desk.of(UNIT).in_force == 2


def test_a_line_changed_by_a_foreign_hand_is_found(room: Room) -> None:
    room.in_force(arcing(12))
    room.books._db.execute("DROP TRIGGER book_no_update")
    room.books._db.execute("UPDATE book SET body = replace(body, 'mk', 'xx') WHERE number = 1")
    with pytest.raises(BookFault, match="line 1"):
        room.open()


def test_what_cannot_be_written_has_not_happened(room: Room) -> None:
    room.propose(arcing(12))
    room.books._db.execute("ALTER TABLE book RENAME TO taken_away")
    with pytest.raises(BookFault):
        room.approve(1)
    assert room.sent == [] and room.desk.of(UNIT).versions[1].status is Status.PROPOSED
