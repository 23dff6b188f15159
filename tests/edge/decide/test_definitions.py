"""Definitions are complete, careful in what they advise, and refuse slips."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from edge.decide.alarm_table import DEAD_SENSOR, DEFAULT_ALARMS, KEEP_CLEAR, MONITORING_ONLY
from edge.decide.definitions import (
    Adjustment,
    Alarm,
    DefinitionFault,
    Subject,
    adjusted,
    check_definitions,
)
from edge.decide.rules import INSULATOR_RULES, UNIT_RULES
from edge.decide.setpoints import Limit

BY_ID = {each.id: each for each in DEFAULT_ALARMS}
TEXTS = (
    "text",
    "cause",
    "consequence",
    "action",
    "safety",
    "valid_when",
    "owner",
    "reason",
    "source",
)
SURFACE = (
    Alarm.ARCING,
    Alarm.NEAR_MARGIN,
    Alarm.FLASHOVER_SUSPECTED,
    Alarm.OVER_RANGE,
    Alarm.DRY_AIR_CURRENT,
)


def test_every_alarm_has_one_definition_and_the_rules_of_its_subject() -> None:
    assert set(BY_ID) == set(Alarm)
    insulator = {each.id for each in DEFAULT_ALARMS if each.subject is not Subject.UNIT}
    unit = {each.id for each in DEFAULT_ALARMS if each.subject is not Subject.INSULATOR}
    assert (set(INSULATOR_RULES), set(UNIT_RULES)) == (insulator, unit)


@pytest.mark.parametrize("name", TEXTS)
@pytest.mark.parametrize("alarm", list(Alarm))
def test_definition_with_an_empty_text_is_refused(alarm: Alarm, name: str) -> None:
    emptied = [
        replace(each, **{name: "  "}) if each.id is alarm else each for each in DEFAULT_ALARMS
    ]
    with pytest.raises(DefinitionFault, match=f"alarm {alarm.value}: {name} is empty"):
        check_definitions(emptied)


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"limits": ()}, "no limit"),
        ({"limits": (Limit("peak_ua", "", 1, 0),)}, "lacks its quantity or unit"),
        ({"limits": (Limit("peak_ua", "uA", 1, -1),)}, "deadband of peak_ua is -1"),
        ({"priority": 4}, "priority is 4"),
        ({"on_delay_s": -1}, "delay is negative"),
        ({"lost_after_s": 0}, "must be above 0"),
        ({"time_to_respond_s": 0}, "must be above 0"),
    ],
)
def test_definition_with_an_impossible_number_is_refused(
    change: dict[str, object], told: str
) -> None:
    wrong = [replace(BY_ID[Alarm.ARCING], **change), *DEFAULT_ALARMS[1:]]
    with pytest.raises(DefinitionFault, match=told):
        check_definitions(wrong)


def test_missing_and_doubled_definitions_are_refused() -> None:
    with pytest.raises(DefinitionFault, match="each of"):
        check_definitions(DEFAULT_ALARMS[1:])
    with pytest.raises(DefinitionFault, match="each of"):
        check_definitions((*DEFAULT_ALARMS, DEFAULT_ALARMS[0]))


def test_only_the_suspected_flashover_latches_and_it_has_the_first_priority() -> None:
    assert [each.id for each in DEFAULT_ALARMS if each.latched] == [Alarm.FLASHOVER_SUSPECTED]
    assert BY_ID[Alarm.FLASHOVER_SUSPECTED].priority == 1


def test_no_text_advises_washing() -> None:
    for each in DEFAULT_ALARMS:
        advice = re.sub(r"no washing", "", f"{each.action} {each.safety}")
        assert "wash" not in advice.lower(), each.id


def test_every_surface_alarm_says_keep_clear_and_every_alarm_says_monitoring_only() -> None:
    assert all(BY_ID[alarm].safety == KEEP_CLEAR for alarm in SURFACE)
    assert BY_ID[Alarm.SENSOR_FAILED].safety == DEAD_SENSOR
    assert all(MONITORING_ONLY in each.safety for each in DEFAULT_ALARMS)


def test_no_limit_acts_on_rms_or_plain_pulses() -> None:
    quantities = {limit.quantity for each in DEFAULT_ALARMS for limit in each.limits}
    assert not [each for each in quantities if each.startswith(("rms", "pulses", "peak", "h1"))]


def test_adjustment_names_its_owner_and_keeps_the_share_of_the_deadband() -> None:
    wanted = Adjustment(
        alarm=Alarm.NEAR_MARGIN,
        owner="duty engineer",
        reason="short creepage",
        limits_at={"arcing_peak_ua": 50_000},
        on_delay_s=60,
        off_delay_s=120,
        priority=2,
    )
    own = {each.id: each for each in adjusted(DEFAULT_ALARMS, [wanted])}[Alarm.NEAR_MARGIN]
    assert own.limits == (Limit("arcing_peak_ua", "uA", 50_000, 10_000),)
    assert (own.on_delay_s, own.off_delay_s, own.priority) == (60, 120, 2)
    assert (own.owner, own.reason) == ("duty engineer", "short creepage")


def test_adjustment_without_owner_or_of_an_unknown_quantity_or_twice_is_refused() -> None:
    nameless = Adjustment(alarm=Alarm.ARCING, owner="", reason="because")
    stray = Adjustment(alarm=Alarm.ARCING, owner="x", reason="y", limits_at={"rms_na": 1})
    with pytest.raises(DefinitionFault, match="owner is empty"):
        adjusted(DEFAULT_ALARMS, [nameless])
    with pytest.raises(DefinitionFault, match="no limit on 'rms_na'"):
        adjusted(DEFAULT_ALARMS, [stray])
    with pytest.raises(DefinitionFault, match="adjusted twice"):
        adjusted(DEFAULT_ALARMS, [nameless, nameless])
