"""The two tables of rules are total, and each rule is reached."""

from __future__ import annotations

from itertools import product

import pytest

from gateway.trends import assessment, causes
from gateway.trends.assessment import ALLOWED, Advice, Case, Data, Decision, advised
from gateway.trends.causes import Cause, Evidence, Recovery, Rule, Way, judged
from gateway.trends.columns import SurfaceType
from gateway.trends.moves import Pattern
from gateway.trends.probe import Probe
from gateway.trends.sensor import Sensor
from gateway.trends.wash import Verdict

TRUTHS = (False, True)
EVIDENCE = [
    Evidence(*cells)
    for cells in product(
        Sensor, TRUTHS, Pattern, Way, Pattern, Way, TRUTHS, TRUTHS, Recovery, TRUTHS, Probe, TRUTHS
    )
]
CASES = [
    Case(*cells)
    for cells in product(
        Data,
        (True, False, None),
        Cause,
        Way,
        SurfaceType,
        (None, *Verdict),
        TRUTHS,
        TRUTHS,
        TRUTHS,
        TRUTHS,
    )
]


def test_every_evidence_has_a_cause_and_every_rule_is_reached() -> None:
    assert {judged(one).name for one in EVIDENCE} == {rule.name for rule in causes.RULES}


def test_every_case_has_a_decision_that_its_type_allows_and_every_rule_is_reached() -> None:
    reached = set()
    for case in CASES:
        advice = advised(case)
        reached.add(advice.name)
        assert advice.decision in ALLOWED[case.type], (case, advice)
    assert reached == {rule.name for rule in assessment.RULES}


def test_names_of_rules_are_unique() -> None:
    for rules in (causes.RULES, assessment.RULES):
        names = [rule.name for rule in rules]
        assert len(names) == len(set(names))


def test_a_doubted_sensor_never_leads_to_a_change() -> None:
    doubted = [one for one in EVIDENCE if one.sensor in (Sensor.DEAD, Sensor.FADED, Sensor.RAISED)]
    assert {(judged(one).cause, judged(one).changed) for one in doubted} == {(Cause.SENSOR, None)}


def test_a_fall_that_nobody_brought_about_is_no_change_unless_its_onset_fell_too() -> None:
    fell = [
        one
        for one in EVIDENCE
        if one.steps in (Pattern.ALONE, Pattern.NO_SIBLINGS, Pattern.MIXED)
        and one.way is Way.DOWN
        and not one.explained
    ]
    lower = (Cause.HYDROPHOBICITY_LASTING, Cause.HYDROPHOBICITY_REVERSIBLE)
    assert {judged(one).changed for one in fell if judged(one).cause not in lower} == {None}
    still = [one for one in fell if one.shifts is Pattern.STILL or one.shift_way is Way.DOWN]
    assert {judged(one).changed for one in still} == {None}


def test_poor_or_young_data_never_say_none_indicated() -> None:
    weak = [case for case in CASES if case.data is not Data.GOOD]
    assert Decision.NONE_INDICATED not in {advised(case).decision for case in weak}


RIGHT = Evidence(
    sensor=Sensor.GOOD,
    compared=True,
    steps=Pattern.STILL,
    way=Way.UP,
    shifts=Pattern.STILL,
    shift_way=Way.UP,
    either=False,
    unsure=False,
    recovery=Recovery.UNKNOWN,
    explained=False,
    probe=Probe.SOUND,
    fog_moved=False,
)


def evidence(**changed: object) -> Evidence:
    fields = {name: getattr(RIGHT, name) for name in Evidence.__slots__}
    return Evidence(**{**fields, **changed})  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("given", "name", "cause"),
    [
        (evidence(), "steady", Cause.NONE),
        (evidence(sensor=Sensor.DEAD), "sensor-dead", Cause.SENSOR),
        (evidence(sensor=Sensor.FADED), "sensor-level-moved", Cause.SENSOR),
        (evidence(compared=False), "not-compared", Cause.CANNOT_TELL),
        (evidence(probe=Probe.MOVED), "reading-moved", Cause.PROBE),
        (evidence(probe=Probe.MOVED, steps=Pattern.ALONE), "moved-alone", Cause.SINGLE_UNIT),
        (evidence(probe=Probe.DOUBTED, steps=Pattern.SITE), "reading-or-surfaces",
         Cause.CANNOT_TELL),
        (evidence(steps=Pattern.ALONE, way=Way.DOWN), "fell-alone", Cause.SENSOR),
        (evidence(steps=Pattern.SITE), "site-moved", Cause.DEPOSIT_SITE),
        (evidence(steps=Pattern.SITE, way=Way.DOWN), "site-moved", Cause.DEPOSIT_SITE),
        (evidence(steps=Pattern.ALONE), "moved-alone", Cause.SINGLE_UNIT),
        (evidence(steps=Pattern.NO_SIBLINGS), "moved-untold", Cause.CANNOT_TELL),
        (evidence(shifts=Pattern.SITE), "all-onsets-moved", Cause.PROBE),
        (evidence(shifts=Pattern.ALONE, recovery=Recovery.STAYED), "onset-stayed-lower",
         Cause.HYDROPHOBICITY_LASTING),
        (evidence(shifts=Pattern.ALONE, recovery=Recovery.RETURNED), "onset-came-back",
         Cause.HYDROPHOBICITY_REVERSIBLE),
        (evidence(shifts=Pattern.ALONE), "onset-untold", Cause.CANNOT_TELL),
        (evidence(either=True), "step-or-onset", Cause.CANNOT_TELL),
        (evidence(unsure=True), "neither-moved-nor-steady", Cause.CANNOT_TELL),
        (evidence(steps=Pattern.NO_SIBLINGS, way=Way.DOWN), "fell-without-siblings",
         Cause.CANNOT_TELL),
        (evidence(steps=Pattern.MIXED, way=Way.DOWN), "fell-in-part", Cause.CANNOT_TELL),
        (evidence(steps=Pattern.ALONE, way=Way.DOWN, explained=True), "moved-alone",
         Cause.SINGLE_UNIT),
        (evidence(shifts=Pattern.NO_SIBLINGS, fog_moved=True), "onset-moved-with-probe",
         Cause.PROBE),
        (evidence(shifts=Pattern.ALONE, shift_way=Way.DOWN), "onset-rose", Cause.CANNOT_TELL),
        (evidence(shifts=Pattern.ALONE, shift_way=Way.DOWN, explained=True),
         "onset-rose-after-work", Cause.SINGLE_UNIT),
    ],
)  # fmt: skip
def test_each_cause_follows_from_its_own_evidence(given: Evidence, name: str, cause: Cause) -> None:
    found: Rule = judged(given)
    assert (found.name, found.cause) == (name, cause)


WORSE = Case(
    data=Data.GOOD,
    changed=True,
    cause=Cause.DEPOSIT_SITE,
    way=Way.UP,
    type=SurfaceType.COMPOSITE,
    washed=None,
    damage=False,
)


def case(**changed: object) -> Case:
    fields = {name: getattr(WORSE, name) for name in Case.__slots__}
    return Case(**{**fields, **changed})  # type: ignore[arg-type]


COATED = SurfaceType.COATED_GLASS


@pytest.mark.parametrize(
    ("given", "decision"),
    [
        (case(), Decision.WASH),
        (case(way=Way.DOWN), Decision.NONE_INDICATED),
        (case(changed=False, cause=Cause.NONE), Decision.NONE_INDICATED),
        (case(data=Data.POOR), Decision.CANNOT_DECIDE),
        (case(data=Data.LEARNING), Decision.CANNOT_DECIDE),
        (case(cause=Cause.SENSOR, changed=None), Decision.CANNOT_DECIDE),
        (case(cause=Cause.PROBE, changed=None), Decision.CANNOT_DECIDE),
        (case(cause=Cause.CANNOT_TELL, changed=None), Decision.CANNOT_DECIDE),
        (case(cause=Cause.CANNOT_TELL), Decision.INSPECT),
        (case(cause=Cause.SINGLE_UNIT), Decision.INSPECT),
        (case(cause=Cause.SINGLE_UNIT, washed=Verdict.DID_NOT), Decision.REPLACE),
        (case(cause=Cause.SINGLE_UNIT, washed=Verdict.DID_NOT, type=COATED), Decision.RECOAT),
        (case(washed=Verdict.DID_NOT), Decision.INSPECT),
        (case(cause=Cause.HYDROPHOBICITY_LASTING), Decision.INSPECT),
        (case(cause=Cause.HYDROPHOBICITY_LASTING, type=COATED), Decision.RECOAT),
        (case(cause=Cause.HYDROPHOBICITY_REVERSIBLE, type=COATED), Decision.INSPECT),
        (case(cause=Cause.NONE), Decision.CANNOT_DECIDE),
        (case(damage=True, data=Data.POOR), Decision.REPLACE),
        (case(damage=True, type=SurfaceType.UNKNOWN), Decision.INSPECT),
        (case(changed=False, cause=Cause.NONE, near=True), Decision.INSPECT),
        (case(changed=False, cause=Cause.NONE, heavy=True), Decision.INSPECT),
        (case(changed=False, cause=Cause.NONE, wettable=True), Decision.INSPECT),
        (case(near=True, data=Data.POOR), Decision.CANNOT_DECIDE),
        (case(heavy=True, data=Data.LEARNING), Decision.CANNOT_DECIDE),
        (case(near=True, cause=Cause.SENSOR, changed=None), Decision.CANNOT_DECIDE),
    ],
)
def test_each_decision_follows_from_its_own_case(given: Case, decision: Decision) -> None:
    found: Advice = advised(given)
    assert found.decision is decision
    assert found.change
