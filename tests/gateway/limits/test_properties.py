"""What holds over every history of changes, losses and restarts."""

from __future__ import annotations

import contextlib
import tempfile
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from edge.daemon.limit_sheets import InForce
from gateway.limits.book import BOOK, What, read_line
from gateway.limits.changing import ChangeRefused
from gateway.limits.versions import NEXT, Status, fold
from tests.gateway.limits.build import UNIT, Room, arcing, plan

people = st.sampled_from(("mk", "jo"))
numbers = st.integers(1, 5)
deeds = st.one_of(
    st.tuples(st.just("propose"), st.integers(1, 60), people),
    st.tuples(st.just("approve"), numbers, people),
    st.tuples(st.just("withdraw"), numbers, people),
    st.tuples(st.just("roll-back"), st.integers(0, 5), people),
    st.tuples(st.sampled_from(("answer", "away", "back", "lose", "start", "tick", "reopen"))),
)


def do(room: Room, deed: tuple[object, ...]) -> None:
    match deed:
        case ("propose", int(at), str(by)):
            room.propose(arcing(at), by=by)
        case ("approve", int(number), str(by)):
            room.approve(number, by=by)
        case ("withdraw", int(number), str(by)):
            room.withdraw(number, by=by)
        case ("roll-back", int(to), str(by)):
            room.roll_back(to, by=by)
        case ("answer",):
            room.answer()
        case ("away",):
            room.away = True
        case ("back",):
            room.away = False
        case ("lose",):
            room.unit = InForce(None, plan(None))
            room.starts()
        case ("start",):
            room.starts()
        case ("tick",):
            room.pass_minutes(1)
        case ("reopen",):
            room.open()


@given(st.lists(deeds, max_size=20))
@settings(max_examples=25, deadline=None)
def test_units_never_decide_with_what_two_did_not_stand_for_and_all_comes_right_in_the_end(
    history: list[tuple[object, ...]],
) -> None:
    with tempfile.TemporaryDirectory() as folder:
        room = Room(Path(folder))
        for deed in history:
            with contextlib.suppress(ChangeRefused):
                do(room, deed)
            sheet = room.unit.sheet
            if sheet is not None:
                version = room.desk.of(UNIT).versions[sheet.version]
                assert version.status not in (Status.PROPOSED, Status.WITHDRAWN)
                lines = [read_line(one.body) for one in room.books.read(BOOK)]
                stood = {one.who for one in lines if one.version == sheet.version and one.reason}
                approved = [one for one in lines if one.what is What.APPROVED]
                assert all(
                    one.who != room.desk.of(UNIT).versions[one.version].author for one in approved
                )
                assert stood
        lines = [read_line(one.body) for one in room.books.read(BOOK)]
        assert fold({}, lines).get(UNIT, room.desk.of(UNIT)) == room.desk.of(UNIT)
        room.away = False
        for _ in range(4):
            room.pass_minutes(1)
            room.answer()
        limits = room.desk.of(UNIT)
        assert limits.in_force == limits.wanted
        room.close()


def test_every_status_that_can_be_left_is_left_by_a_word_and_the_table_names_no_other() -> None:
    assert {status for status, _ in NEXT} == {Status.PROPOSED, Status.APPROVED, Status.REFUSED}
    ends = set(NEXT.values())
    assert ends | {Status.PROPOSED, Status.REPLACED} == set(Status)
