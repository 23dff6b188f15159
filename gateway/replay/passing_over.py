"""Deciding on a year of rows without touching most of them.

A quiet row of an idle insulator changes nothing: the step itself returns its state unchanged. So
whole stretches of them are passed over by columns, and only rows that are not quiet, and those
behind them until the insulator idles again, are made into rows and stepped. Where an insulator only
waits for its off-delays to run out, still rows that adjoin are counted together (`waiting`). Health
rows that every rule finds clear only leave behind when they began and what the line was. The state
afterwards and every change are the same as those of the step on every row.
"""

from __future__ import annotations

import heapq
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from edge.decide.binding import DecisionPlan
from edge.decide.evaluation import step
from edge.decide.rules import UNIT_RULES
from edge.decide.state import DecideState
from edge.decide.units import step_health
from edge.decide.weighing import LEAVES_QUIET_ALONE
from edge.records import ConditionChange, HealthRow, LineStatus
from gateway.replay.sky import Sky
from gateway.replay.unit_rows import UnitRows, row_of
from gateway.replay.waiting import Source, waited

_HEALTH, _INTERVAL = 1, 2

NEVER_US = 1 << 62

Due = tuple[int, int, int, int]
"""End of a row, kind, place of its insulator, place of the row: the order of deciding."""


@dataclass(frozen=True, slots=True)
class Decided:
    """What came of some rows. stepped: of them, those that were not passed over."""

    state: DecideState
    changes: tuple[ConditionChange, ...]
    rows: int
    stepped: int


def decided_over(state: DecideState, unit: UnitRows, plan: DecisionPlan) -> Decided:
    """Decides on all rows of a unit that follow on a state. Rows of insulators that the plan does
    not watch are passed over, whatever they say."""
    walk = _Walk(state, unit, plan)
    while walk.due:
        walk.go(heapq.heappop(walk.due))
    return Decided(walk.ended(), tuple(walk.changes), len(unit), walk.stepped)


class _Heard:
    """What health rows leave behind in any case, and which of them must be stepped."""

    def __init__(self, state: DecideState, rows: Sequence[HealthRow], plan: DecisionPlan) -> None:
        self.rows = rows
        self.ends_us = [row.start_us + row.duration_us for row in rows]
        self.left: list[tuple[int, LineStatus]] = [(state.health_start_us, state.line)]
        self.restless: list[int] = []
        self._dark = [place for place, row in enumerate(rows) if not row.source_alive]
        nothing = replace(plan, insulators={}, unit=())
        for place, row in enumerate(rows):
            if not _is_clear(row, plan):
                self.restless.append(place)
            state, _ = step_health(state, row, nothing)
            self.left.append((state.health_start_us, state.line))

    def dark_from(self, place: int) -> int:
        """End of the first row from a place on that calls the source dead: all insulators lose
        data then."""
        behind = bisect_right(self._dark, place - 1)
        return self.ends_us[self._dark[behind]] if behind < len(self._dark) else NEVER_US

    def next(self, place: int, every: bool) -> int | None:
        """The first one from a place on that must be stepped."""
        if every:
            return place if place < len(self.rows) else None
        behind = bisect_right(self.restless, place - 1)
        return self.restless[behind] if behind < len(self.restless) else None


def _is_clear(row: HealthRow, plan: DecisionPlan) -> bool:
    """Whether it changes nothing of a unit of which no alarm is on its way."""
    return row.source_alive and all(
        UNIT_RULES[bound.definition.id](row, bound).stimulus in LEAVES_QUIET_ALONE
        for bound in plan.unit
    )


class _Walk:
    """Where deciding stands. due: rows that must be stepped, the next of each source."""

    def __init__(self, state: DecideState, unit: UnitRows, plan: DecisionPlan) -> None:
        self.plan, self.state = plan, state
        self.changes: list[ConditionChange] = []
        self.stepped = 0
        self._sky = Sky(state.air, unit.weather, plan)
        self._heard = _Heard(state, unit.health, plan)
        self._sources = [
            Source(name, rows, self._sky, plan)
            for name, rows in unit.insulators.items()
            if name in plan.insulators
        ]
        self._health_at = 0
        self.due: list[Due] = []
        self._look_ahead(-(1 << 62))

    def _look_ahead(self, from_us: int) -> None:
        """Every source's next row, from a moment on."""
        self.due = []
        for place in range(len(self._sources)):
            ends_us = self._sources[place].ends_us
            self._await(place, int(np.searchsorted(ends_us, from_us)))
        self._await_health()
        heapq.heapify(self.due)

    def _await(self, place: int, row: int) -> None:
        source = self._sources[place]
        kept = self.state.insulators.get(source.name)
        if kept is not None and not kept.idle:
            row, renewed = waited(
                kept, source, row, self._heard.dark_from(self._health_at), self.plan
            )
            if renewed is not kept:
                insulators = {**self.state.insulators, source.name: renewed}
                self.state = replace(self.state, insulators=insulators)
        found = source.next(row, kept is not None and kept.idle)
        if found is not None:
            heapq.heappush(self.due, (int(source.ends_us[found]), _INTERVAL, place, found))

    def _await_health(self) -> None:
        found = self._heard.next(self._health_at, bool(self.state.unit))
        if found is not None:
            heapq.heappush(self.due, (self._heard.ends_us[found], _HEALTH, 0, found))

    def go(self, due: Due) -> None:
        """Steps one row; what lies before it has been passed over."""
        end_us, kind, place, row = due
        self.stepped += 1
        if kind == _INTERVAL:
            source = self._sources[place]
            self._know(end_us, bisect_right(self._heard.ends_us, end_us))
            interval = row_of(source.name, source.cells(row), source.rows.flag_words)
            self.state, said = step(self.state, interval, self.plan)
            self.changes += said
            self._await(place, row + 1)
            return
        self._know(end_us, row)
        before = self.state.insulators
        self.state, said = step(self.state, self._heard.rows[row], self.plan)
        self.changes += said
        self._health_at = row + 1
        if self.state.insulators is before:
            self._await_health()
        else:
            self._look_ahead(end_us)

    def _know(self, end_us: int, heard: int) -> None:
        """What weather and health rows before this moment have left behind."""
        air = self._sky.air(end_us)
        start_us, line = self._heard.left[heard]
        state = self.state
        if air is not state.air or start_us != state.health_start_us or line is not state.line:
            self.state = replace(state, air=air, health_start_us=start_us, line=line)

    def ended(self) -> DecideState:
        """The state behind all rows."""
        start_us, line = self._heard.left[-1]
        return replace(self.state, air=self._sky.last, health_start_us=start_us, line=line)
