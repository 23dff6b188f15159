"""The inbox takes in turn and sheds what no honest unit sends."""

from __future__ import annotations

from gateway.ingest.fair_inbox import FLOOD_PER_S, SHED_MAX, UNIT_ROOM, FairInbox, flooding


def filled(**counts: int) -> FairInbox[str]:
    inbox: FairInbox[str] = FairInbox()
    for unit, count in counts.items():
        for number in range(count):
            inbox.put(unit, f"{unit}{number}")
    return inbox


def test_units_are_taken_in_turn_and_each_in_its_own_order() -> None:
    assert filled(a=3, b=1, c=2).take(10, 0) == ["a0", "b0", "c0", "a1", "c1", "a2"]


def test_a_unit_whose_turn_was_not_reached_is_the_next_one() -> None:
    inbox = filled(a=2, b=2)
    assert inbox.take(3, 0) == ["a0", "b0", "a1"]
    assert inbox.take(3, 0) == ["b1"]
    assert inbox.take(3, 0) == [] and len(inbox) == 0


def test_what_is_above_a_units_room_is_shed_and_others_are_not_touched() -> None:
    inbox = filled(loud=UNIT_ROOM + 7, quiet=2)
    assert len(inbox) == UNIT_ROOM + 2
    assert inbox.take_shed() == {"loud": 7} and inbox.take_shed() == {}
    assert inbox.take(3, 0) == ["loud0", "quiet0", "loud1"]
    assert inbox.put("loud", "again")


def test_a_unit_that_goes_on_is_closed_out_until_it_has_been_calm() -> None:
    inbox = filled(loud=UNIT_ROOM + SHED_MAX, quiet=1)
    assert len(inbox.take(99, 0)) == UNIT_ROOM + 1, "what was taken in is served"
    assert not inbox.put("loud", "still closed") and inbox.put("quiet", "never closed")
    assert inbox.take_shed() == {"loud": SHED_MAX + 1}
    assert not inbox.put("loud", "closed for this window as well")
    assert inbox.take_shed() == {"loud": 1}
    assert inbox.put("loud", "calm again")


def test_a_flood_is_told_from_a_unit_that_repeats_its_window_to_a_slow_gateway() -> None:
    per_s = round(FLOOD_PER_S)
    assert flooding({"loud": 5 * per_s, "waiting": 5 * per_s - 1}, 5.0) == {"loud": 5 * per_s}
