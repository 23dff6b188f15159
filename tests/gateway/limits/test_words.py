"""Limits as people write them: exact both ways, and a change says only what was changed."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from edge.decide.definitions import Alarm
from edge.limits import Sheet
from edge.records import UnitEvent
from gateway.limits.changing import ChangeRefused
from gateway.limits.contents import DEFAULTS, OWNER, REASON, definitions_of, differences, said_of
from gateway.limits.drafting import changed_only, drafted, fields_of
from gateway.limits.in_force import InForce
from gateway.limits.limit_words import WRITTEN, amount, bare, read_amount
from tests.gateway.limits.build import SITE, UNIT, WHOSE, Room, arcing

NAME = "arcing.arcing_halfcycles_per_min"


def test_every_limit_of_every_alarm_has_its_words() -> None:
    said = {what for one in DEFAULTS.values() for what in said_of(one)}
    assert said - {OWNER, REASON} == set(WRITTEN)


@given(st.sampled_from(sorted(WRITTEN)), st.integers(0, 10**15))
def test_an_amount_is_read_as_it_was_written(what: str, at: int) -> None:
    assert read_amount(what, bare(what, at)) == at


@pytest.mark.parametrize(
    ("what", "at", "said"),
    [
        ("arcing_peak_ua", 62_500, "62.5 mA"),
        ("air_dry_us", 7_200_000_000, "2 h"),
        ("arc_to_silence_us", 2_500_000, "2.5 s"),
        ("on_delay_s", 90, "90 s"),
        ("on_delay_s", 180, "3 min"),
        ("on_delay_s", 0, "0 s"),
        ("sensor_fault", 1, "yes"),
        ("owner", "asset desk", "asset desk"),
    ],
)
def test_an_amount_is_said_exactly_with_its_unit(what: str, at: int | str, said: str) -> None:
    assert amount(what, at) == said


@pytest.mark.parametrize(
    "text", ["", "x", "-1", "1.5", "nan", "inf", "1e400", "6 mA", "9" * 40, "1_000", "٣"]
)
def test_what_is_no_amount_is_refused_with_what_is_allowed(text: str) -> None:
    if text in ("1_000", "٣"):  # digits all the same
        assert read_amount("arc_pulses_100ma", text) in (1000, 3)
        return
    with pytest.raises(ChangeRefused, match="in steps of 1"):
        read_amount("arc_pulses_100ma", text)


def test_a_form_sent_as_it_was_shown_changes_nothing() -> None:
    for base in ({}, arcing(12, on_delay_s=60, priority=1)):
        shown = {field.name: field.now for one in fields_of(base) for field in one.fields}
        shown |= {f"{one.alarm}.owner": one.owner for one in fields_of(base)}
        assert changed_only(base, shown) == {}
        with pytest.raises(ChangeRefused, match="nothing is changed"):
            drafted(base, shown, "no reason")


def test_only_what_was_changed_is_said_differently_and_the_rest_stays_as_it_was() -> None:
    base = arcing(12, on_delay_s=60)
    form = {"near-margin.arcing_peak_ua": "62.5", "near-margin.owner": "asset desk", NAME: "12"}
    content = drafted(base, form, "near misses")
    assert content["arcing"] == base["arcing"]
    assert content["near-margin"]["limits"] == {"arcing_peak_ua": 62_500}
    changes = [(one.what, one.before, one.after) for one in differences(base, content)]
    assert changes[0] == ("arcing_peak_ua", 100_000, 62_500)
    assert {what for what, _, _ in changes} == {"arcing_peak_ua", OWNER, REASON}
    assert [one.before for one in differences(None, content)] == [None] * 7


def test_a_changed_limit_needs_somebody_who_answers_for_it() -> None:
    with pytest.raises(ChangeRefused, match="nobody owns"):
        drafted({}, {NAME: "9"}, "a reason")
    with pytest.raises(ChangeRefused, match="longer than 200"):
        drafted({}, {NAME: "9", "arcing.owner": "x" * 201}, "a reason")
    kept = drafted(arcing(12), {NAME: "9"}, "a reason")
    assert definitions_of(kept)[Alarm.ARCING].owner == WHOSE["owner"]


def test_plots_draw_what_the_unit_itself_has_confirmed(tmp_path: Path) -> None:
    room = Room(tmp_path)
    in_force = InForce(room.desk)

    def drawn() -> tuple[int, int, str, bool]:
        found = in_force.lines(SITE, "old-post")
        assert found is not None and found.path == f"/limits/{UNIT}"
        return found.margin_ua, found.arcs_per_min, found.said, found.sure

    own, own_unit = drawn(), room.unit
    assert own[1:] == (6, "those of its settings file", True)
    margin = {"near-margin": WHOSE | {"limits": {"arcing_peak_ua": 50_000}}}
    room.propose(arcing(12) | margin)
    room.approve(1)
    assert drawn() == own  # approved is not in force
    room.answer()
    assert drawn() == (50_000, 12, "those of version 1", True)
    confirmed, room.unit = room.unit, own_unit
    room.pass_minutes(11)  # its records are made with other settings than it has confirmed
    assert not drawn()[3] and "decides otherwise" in drawn()[2]
    room.unit = confirmed
    room.roll_back()
    room.answer()
    assert drawn()[:2] == own[:2]
    assert in_force.lines(SITE, "no such") is None
    assert in_force.lines("nowhere", "old-post") is None
    room.close()


def test_what_a_unit_decides_with_is_not_made_up_where_nobody_knows_it(tmp_path: Path) -> None:
    room = Room(tmp_path, copies=False)
    in_force = InForce(room.desk)

    def said() -> tuple[int, bool, str]:
        found = in_force.lines(SITE, "old-post")
        assert found is not None
        return found.arcs_per_min, found.sure, found.said

    assert said()[:2] == (6, False) and "of which no copy is here" in said()[2]
    room.in_force(arcing(12))
    assert said()[:2] == (12, False) and "creepage is not known" in said()[2]
    strange = Sheet(unit=UNIT, version=9, alarms={}, author="a", approver="b", approved_us=1)
    detail: dict[str, int | str] = {"limits": 9, "sheet": strange.sha}
    room.say(UnitEvent(event="started", at_us=room.now_us, detail=detail))
    assert said()[:2] == (6, False) and "does not know" in said()[2]
    room.close()
