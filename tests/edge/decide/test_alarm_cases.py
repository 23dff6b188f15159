"""Each case file: rows in, the expected transitions out, the same again from kept state."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from edge.decide import setpoints
from edge.decide.alarm_table import DEFAULT_ALARMS
from edge.decide.definitions import Alarm
from edge.decide.setpoints import Phase, Stimulus
from edge.records import Condition
from edge.wire import body_line, read_record
from tests.edge.decide.builders import decided, decided_with_restarts
from tests.edge.decide.case_text import read_case

CASES = Path(__file__).parents[2] / "alarm_cases"
FILES = sorted(CASES.glob("*.toml"))


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_case_gives_exactly_the_transitions_that_it_expects(path: Path) -> None:
    case = read_case(path)
    _, changes = decided(case.rows, case.plan)
    assert case.told(changes) == case.expect, case.why


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_deciding_again_from_stored_rows_and_kept_state_gives_the_same_bytes(path: Path) -> None:
    case = read_case(path)
    _, changes = decided(case.rows, case.plan)
    stored = [read_record(body_line(row)) for row in case.rows]
    again = decided_with_restarts(stored, case.plan)
    assert [body_line(each) for each in again] == [body_line(each) for each in changes]
    assert [read_record(body_line(each)) for each in changes] == changes


def test_each_alarm_is_raised_cleared_and_frozen_by_some_case() -> None:
    seen = {(line.split()[1], line.split()[3]) for path in FILES for line in read_case(path).expect}
    for alarm in Alarm:
        assert (alarm.value, Condition.IN.value) in seen
        assert (alarm.value, Condition.OUT.value) in seen
    frozen = {alarm for alarm, condition in seen if condition == Condition.UNKNOWN.value}
    held = {"dry-air-current", "storage", "unit-health"}  # held, or of records that cannot be lost
    assert frozen == {alarm.value for alarm in Alarm} - held


def test_twin_without_off_delay_chatters_where_the_case_has_one_occurrence() -> None:
    careless = tuple(replace(each, off_delay_s=0) for each in DEFAULT_ALARMS)
    case = read_case(CASES / "chatter_is_one_occurrence.toml", careless)
    _, changes = decided(case.rows, case.plan)
    assert [each.condition for each in changes] == [Condition.IN, Condition.OUT] * 3
    assert len(case.expect) == 2


@pytest.mark.parametrize("after_loss", [Phase.QUIET, Phase.PENDING_OUT])
def test_twin_in_which_unknown_clears_fails_the_case_of_frozen_data(
    monkeypatch: pytest.MonkeyPatch, after_loss: Phase
) -> None:
    monkeypatch.setitem(setpoints.NEXT_PHASE, (Phase.IN, Stimulus.LOST), after_loss)
    for name in ("lost_data_freezes_in", "long_gap_while_in"):
        case = read_case(CASES / f"{name}.toml")
        _, changes = decided(case.rows, case.plan)
        assert case.told(changes) != case.expect
