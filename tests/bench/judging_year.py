"""A year of minute rows judged again: all alarms by our step, and the arcing alarm alone by a loop
over a pandas frame, as one would write it."""

from __future__ import annotations

import pandas as pd

from edge.decide.alarm_table import DEFAULT_ALARMS
from edge.decide.binding import DecisionPlan, WatchedInsulator, bind
from edge.decide.evaluation import step
from edge.decide.state import initial
from edge.records import Condition, ConditionChange
from gateway.replay.passing_over import decided_over
from gateway.replay.unit_rows import InsulatorRows, UnitRows, each_row
from tests.bench.row_years import RATE_HZ, weather_of, weeks, year_of
from tests.bench.timing import Figure, cpu_s, figure

INSULATORS_A_YEAR = 100
ON_US, OFF_US = 180_000_000, 3_600_000_000
AT, CLEAR, STRONG = 6, 3, 3
"""The arcing alarm's limits and delays, as shipped."""


class Differs(AssertionError):
    """The two do not say the same; nothing is timed then."""


def plan_for(names: list[str]) -> DecisionPlan:
    return bind(DEFAULT_ALARMS, [WatchedInsulator(one) for one in names], "bench", float(RATE_HZ))


def ours(units: list[UnitRows], plan: DecisionPlan) -> list[ConditionChange]:
    """Week by week, as rows come from a history."""
    state, changes = initial(plan), []
    for unit in units:
        found = decided_over(state, unit, plan)
        state = found.state
        changes += found.changes
    return changes


def frame_of(rows: InsulatorRows) -> pd.DataFrame:
    names = ("start_us", "duration_us", "arcing_halfcycles", "arc_pulses_100ma")
    return pd.DataFrame({name: rows.columns[name] for name in names})


def by_loop(frame: pd.DataFrame) -> list[int]:
    """Event times at which the arcing alarm goes in, of one insulator."""
    begun, inside, on_us, off_us = [], False, 0, 0
    for row in frame.itertuples():
        strong = row.arc_pulses_100ma >= STRONG
        at_limit = row.arcing_halfcycles >= AT
        clear = row.arcing_halfcycles < CLEAR and not strong
        if inside:
            off_us = off_us + row.duration_us if clear else (0 if at_limit else off_us)
            if off_us >= OFF_US:
                inside, on_us = False, 0
        elif at_limit:
            on_us += row.duration_us
            if on_us >= ON_US:
                inside, off_us = True, 0
                begun.append(row.start_us + row.duration_us)
        elif clear:
            on_us = 0
    return begun


def judging(days: int, insulators: int, rounds: int) -> list[Figure]:
    """Times for a hundred insulators are those of so many, times their number: each insulator's
    rows are decided on their own way through the same unit."""
    names = [f"A{number}" for number in range(insulators)]
    years = {name: year_of(seed, days) for seed, name in enumerate(names)}
    plan = plan_for(names)
    pieces = {name: list(weeks(rows)) for name, rows in years.items()}
    sky = weather_of(days)
    count = min(map(len, pieces.values()))
    assert count == max(map(len, pieces.values()))
    units, told = [], 0
    for week in range(count):
        own = {name: pieces[name][week] for name in names}
        until_us = max(int(rows.ends_us[-1]) for rows in own.values())
        last = told + sum(one.start_us + one.duration_us <= until_us for one in sky[told:])
        units.append(UnitRows(own, sky[told:last]))
        told = last
    rows = sum(len(rows) for rows in years.values())
    frame = frame_of(years[names[0]])
    _check(ours(units, plan), names[0], by_loop(frame))
    mine, theirs, ratios, singles = [], [], [], []
    for _ in range(rounds):
        mine.append(cpu_s(lambda: ours(units, plan)) / rows)
        theirs.append(cpu_s(lambda: by_loop(frame)) / len(frame))
        ratios.append(theirs[-1] / mine[-1])
        single = cpu_s(lambda: every_step(units[1], plan)) / len(units[1])
        singles.append(single / mine[-1])
    scale = INSULATORS_A_YEAR * 365 * 1440
    return [
        figure("judging", "time a row, all alarms", "us", [1e6 * one for one in mine]),
        figure(
            "judging", "a year of 100 insulators, ours", "s", [scale * one for one in mine],
            f"under 180, aim 60; from {rows / 1e6:.1f} million rows",
        ),
        figure("judging", "pandas loop, arcing alone / ours, all", "times", ratios),
        figure("judging", "every row made and stepped / ours", "times", singles),
    ]  # fmt: skip


def every_step(unit: UnitRows, plan: DecisionPlan) -> None:
    """The same rows one by one."""
    state = initial(plan)
    for row in each_row(unit):
        state, _ = step(state, row, plan)


def _check(changes: list[ConditionChange], name: str, begun: list[int]) -> None:
    found = [
        one.at_us for one in changes
        if (one.alarm, one.subject, one.condition) == ("arcing", name, Condition.IN)
    ]  # fmt: skip
    if found != begun:
        raise Differs(f"arcing of {name} begins {len(found)} times, in the loop {len(begun)}")
