"""Each alarm definition is raised by a recording, or by a named case where none can raise it."""

from __future__ import annotations

import pytest

from edge.decide.alarm_table import DEFAULT_ALARMS
from edge.decide.definitions import Alarm
from edge.records import Condition
from tests.edge.decide.case_text import read_case
from tests.house.measures import TOP
from tests.replay.shelf import recordings, replayed

CASES = TOP / "tests" / "alarm_cases"

NOT_IN_SECONDS: dict[Alarm, str] = {
    Alarm.DRY_AIR_CURRENT: "needs weather rows and two dry hours; a recording holds samples only",
    Alarm.SENSOR_FAILED: "has an on-delay of ten minutes",
    Alarm.CLOCK_UNSYNCHRONISED: "is decided from health records",
    Alarm.STORAGE: "is decided from health records",
    Alarm.UNIT_HEALTH: "is decided from health records",
}
"""Alarms that no recording of the shelf can raise, and why; their cases stand for them."""


def raised_by_recordings() -> dict[str, list[str]]:
    found: dict[str, list[str]] = {alarm.value: [] for alarm in Alarm}
    for name in recordings():
        changes = replayed(name).conditions()
        for alarm in {one["alarm"] for one in changes if one["condition"] == Condition.IN.value}:
            found[alarm].append(name)
    return found


def raised_by_cases() -> dict[str, list[str]]:
    found: dict[str, list[str]] = {alarm.value: [] for alarm in Alarm}
    for path in sorted(CASES.glob("*.toml")):
        lines = [line.split() for line in read_case(path).expect]
        for alarm in {words[1] for words in lines if words[3] == Condition.IN.value}:
            found[alarm].append(path.stem)
    return found


def test_every_alarm_is_raised_by_a_recording_or_a_named_case(
    capsys: pytest.CaptureFixture[str],
) -> None:
    recorded, cased = raised_by_recordings(), raised_by_cases()
    with capsys.disabled():
        print()
        for definition in DEFAULT_ALARMS:
            alarm = definition.id.value
            shown = ", ".join(recorded[alarm]) or NOT_IN_SECONDS.get(definition.id, "nothing")
            print(f"{alarm:<22} {shown}; cases: {len(cased[alarm])}")
    for definition in DEFAULT_ALARMS:
        alarm = definition.id.value
        assert cased[alarm], f"no case in tests/alarm_cases raises {alarm}"
        assert bool(recorded[alarm]) != (definition.id in NOT_IN_SECONDS), alarm
