"""The operator load of a run goes through the alarm list as it is at a gateway."""

from __future__ import annotations

import numpy as np

from gateway.alarms.performance import Figures
from gateway.replay.load import Desk, operator_load
from gateway.replay.occurrences import Occurrence
from tests.gateway.replay.told import at, changes, occurrence

TWELVE = tuple(f"A{number}" for number in range(12))


def load(alarms: list[Occurrence], hours: float = 6) -> Figures:
    return operator_load(changes(alarms), TWELVE, at(0), at(60 * hours))


def test_single_alarms_are_announced_one_by_one_and_empty_windows_count() -> None:
    found = load([occurrence(5, 70), occurrence(200, 270)])
    assert (found.announced, found.windows, found.priorities) == (2, 36, (0, 2, 0))
    assert found.most_in_window == 1


def test_a_storm_is_rolled_up_and_no_flood() -> None:
    storm = [occurrence(30 + i / 4, 180, subject=name) for i, name in enumerate(TWELVE)]
    found = load(storm)
    assert 1 <= found.announced <= 4
    assert found.most_in_window <= 3 and found.floods == 0


def test_an_acknowledged_storm_does_not_call_again_every_hour() -> None:
    short, long = (
        [occurrence(30, 60 * hours, subject=name) for name in TWELVE] for hours in (2, 20)
    )
    assert load(long, hours=24).announced == load(short, hours=24).announced <= 3


def test_a_second_flashover_is_announced_because_the_first_was_reset() -> None:
    trips = [
        occurrence(minute, minute + 10, "flashover-suspected", priority=1) for minute in (5, 120)
    ]
    assert load(trips).announced == 2


def test_alarms_that_chatter_are_counted_once() -> None:
    found = load([occurrence(5 + i / 4, 5 + i / 4 + 0.1) for i in range(4)])
    assert found.chattering == 1


def test_the_minutes_that_are_passed_over_would_have_brought_nothing() -> None:
    random = np.random.default_rng(7)
    alarms = []
    for name in TWELVE:
        for start in np.cumsum(random.exponential(240, 6)):
            alarm = ("arcing", "near-margin", "flashover-suspected")[random.integers(0, 3)]
            end = float(start + random.uniform(1, 90))
            alarms.append(occurrence(float(start), end, alarm, name, 2 if alarm == "arcing" else 1))
    journals = []
    for every_minute in (False, True):
        desk = Desk(TWELVE, every_minute)
        for change in changes(alarms):
            desk.hear(change)
        desk.pass_time(at(3000))
        journals.append(desk.journal)
    assert len(journals[0]) > 200
    assert journals[0] == journals[1]


def test_a_run_without_alarms_loads_nobody() -> None:
    assert load([]).announced == 0
