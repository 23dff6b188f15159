"""The dryness of the air behind each weather row of a stretch, all rows at once."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence

import numpy as np

from edge.decide.binding import DecisionPlan
from edge.decide.rules import WEATHER_STALE_US
from edge.decide.setpoints import Side
from edge.decide.state import Air, DecideState
from edge.decide.units import step_weather
from edge.quantities import Flag
from edge.records import WeatherRow
from gateway.history.chunks import ABSENT, Bools, Ints


class Sky:
    """air: before the first row. rows: in order of their ends.

    Agrees with `edge.decide.units.step_weather` row by row; where starts do not rise, or a clock
    was stepped, that step itself is taken.
    """

    def __init__(self, air: Air, rows: Sequence[WeatherRow], plan: DecisionPlan) -> None:
        self._first = air
        starts_us = np.array([air.start_us, *[row.start_us for row in rows]], np.int64)
        lasted_us = np.array([row.duration_us for row in rows], np.int64)
        self._ends = starts_us[1:] + lasted_us
        self._ends_us: list[int] = self._ends.tolist()
        steady = bool((np.diff(starts_us) > 0).all()) and not any(
            row.flags and Flag.CLOCK_STEP in row.flags for row in rows
        )
        self._columns: _Columns | None = None
        self._airs: list[Air] = []
        if steady:
            self._columns = _Columns(air, rows, starts_us[1:], lasted_us, plan)
            self._dry = np.concatenate(([air.is_dry], self._columns.is_dry))
        else:
            self._airs = _stepped(air, rows, plan)
            self._dry = np.array([one.is_dry for one in self._airs], np.bool_)
        self.ever_dry = bool(self._dry.any())

    @property
    def last(self) -> Air:
        """Behind all rows."""
        return self._behind(len(self._ends_us))

    def air(self, at_us: int) -> Air:
        """As it is known to a row that ends then."""
        return self._behind(bisect_right(self._ends_us, at_us))

    def dry_at(self, ends_us: Ints) -> Bools:
        """Whether it is known as dry to each row that ends then."""
        found: Bools = self._dry[np.searchsorted(self._ends, ends_us, "right")]
        return found

    def _behind(self, count: int) -> Air:
        if self._columns is None:
            return self._airs[count]
        return self._columns.air(count - 1) if count else self._first


def _stepped(air: Air, rows: Sequence[WeatherRow], plan: DecisionPlan) -> list[Air]:
    state = DecideState({}, {}, air)
    airs = [air]
    for row in rows:
        state = step_weather(state, row, plan)
        airs.append(state.air)
    return airs


class _Columns:
    """dry_us: how long the air has been dry behind each row."""

    def __init__(
        self,
        air: Air,
        rows: Sequence[WeatherRow],
        start_us: Ints,
        duration_us: Ints,
        plan: DecisionPlan,
    ) -> None:
        humid = [ABSENT if row.rh_cpct is None else row.rh_cpct for row in rows]
        self.rh_cpct = np.array(humid, np.int64)
        rain_um = np.array([row.rain_um or 0 for row in rows], np.int64)
        self.start_us, self.end_us = start_us, start_us + duration_us
        known = self.rh_cpct != ABSENT
        limit = plan.dry_air.limits["rh_cpct"]
        beyond = self.rh_cpct >= limit.at if limit.side is Side.HIGH else self.rh_cpct <= limit.at
        ended = (rain_um != 0) | (known & beyond)
        grown_us = np.where(known & ~ended, duration_us, 0)
        sum_us = air.dry_us + np.cumsum(grown_us)
        before_us = sum_us - grown_us
        stale = np.diff(self.end_us, prepend=air.end_us) - duration_us > WEATHER_STALE_US
        base_us = np.where(ended, sum_us, np.where(stale, before_us, 0))
        self.dry_us = sum_us - np.maximum.accumulate(base_us)
        self.is_dry = known & (self.dry_us >= plan.dry_air.limits["air_dry_us"].at)
        self._made: dict[int, Air] = {}

    def air(self, row: int) -> Air:
        """Behind one row; the same object whenever it is asked for."""
        if row not in self._made:
            rh_cpct = int(self.rh_cpct[row])
            self._made[row] = Air(
                int(self.start_us[row]),
                int(self.end_us[row]),
                int(self.dry_us[row]),
                None if rh_cpct == ABSENT else rh_cpct,
                bool(self.is_dry[row]),
            )
        return self._made[row]
