"""One insulator's rows on the way through deciding, and what may be passed over of them.

Two kinds: rows that are quiet while nothing runs, which change nothing; and still rows while all
that runs are off-delays, which only count their cover. The second kind is taken in whole stretches,
up to the row with which a delay would be over: that one is stepped.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from edge.decide.binding import DecisionPlan
from edge.decide.definitions import Alarm
from edge.decide.marks import ADJOINING_US
from edge.decide.rules import SENSOR_FLAGS
from edge.decide.setpoints import Phase, Watch
from edge.decide.state import Attention, Trail
from edge.quantities import STATES, State
from gateway.history.chunks import ABSENT, Bools, Ints
from gateway.replay.sky import Sky
from gateway.replay.unit_rows import TENS, InsulatorRows

_DRY, _WET = STATES.index(State.DRY), STATES.index(State.WET)

BATCH = 64
"""Rows whose numbers are taken out of the columns together: rows to be stepped follow closely."""

WAITED_MAX = 4096
"""Rows looked at for one stretch of waiting; a longer one is taken in two."""


class Source:
    """quiet: rows that the step passes over while nothing runs. still: quiet minutes, all of whose
    cover was judged, that adjoin the row before, in air that is not known as dry."""

    def __init__(self, name: str, rows: InsulatorRows, sky: Sky, plan: DecisionPlan) -> None:
        self.name, self.rows = name, rows
        self.ends_us = rows.ends_us
        dry_air = sky.dry_at(self.ends_us) if sky.ever_dry else None
        quiet = _quiet(rows, dry_air)
        self.loud_at = np.flatnonzero(~quiet)
        self._quiet, self._dry_air, self._plan = quiet, dry_air, plan
        self._still: Bools | None = None
        self._batch: list[list[int]] = []
        self._batch_at = 0

    def next(self, place: int, idle: bool) -> int | None:
        """The first row from a place on that must be stepped."""
        if not idle:
            return place if place < len(self.rows) else None
        behind = int(np.searchsorted(self.loud_at, place))
        return int(self.loud_at[behind]) if behind < self.loud_at.shape[0] else None

    def cells(self, place: int) -> list[int]:
        """A row's numbers."""
        if not 0 <= place - self._batch_at < len(self._batch):
            self._batch = self.rows.chosen(slice(place, place + BATCH)).matrix().tolist()
            self._batch_at = place
        return self._batch[place - self._batch_at]

    @property
    def still(self) -> Bools:
        """Made when it is first asked for."""
        if self._still is None:
            self._still = self._quiet & _steady(self.rows, self.ends_us, self._plan)
            if self._dry_air is not None:
                self._still &= ~self._dry_air
        return self._still


def _quiet(rows: InsulatorRows, dry_air: Bools | None) -> Bools:
    """`edge.decide.insulators.is_quiet`, for all rows at once."""
    columns = rows.columns
    state = columns["state"]
    wet = state == _WET
    found: Bools = (state == _DRY) | (wet if dry_air is None else wet & ~dry_air)
    found &= columns["arcing_halfcycles"] == 0
    found &= columns["clipped_halfcycles"] == 0
    found &= columns["silent_from_us"] == ABSENT
    bad = np.array([not SENSOR_FLAGS.isdisjoint(words) for words in rows.flag_words], np.bool_)
    if bad.any():
        found &= ~bad[columns["flags"]]
    return found


def _steady(rows: InsulatorRows, ends_us: Ints, plan: DecisionPlan) -> Bools:
    """Whole minutes without strong arcs whose counter and UTC go on from the row before."""
    columns = rows.columns
    start, counter, lasted = (
        columns[name] for name in ("start_us", "start_counter", "duration_us")
    )
    judged_us = columns["dry_us"] + columns["wet_us"]
    found: Bools = (judged_us == lasted) & (lasted > 0) & (columns[TENS] == 0)
    for name in ("arcing_peak_ua", "arc_pulses_100ma"):
        found &= columns[name] == 0
    found &= columns["last_arc_us"] == ABSENT
    missing_us = np.abs(start[1:] - ends_us[:-1]) > ADJOINING_US
    if plan.rate_millihz is not None:
        behind = counter[:-1] + lasted[:-1] * plan.rate_millihz // 1_000_000_000
        off = np.abs(counter[1:] - behind) * 1_000_000_000
        missing_us |= off > ADJOINING_US // 2 * plan.rate_millihz
    forward = (np.diff(start) > 0) & (np.diff(counter) > 0) & (columns[TENS][:-1] == 0)
    found[1:] &= forward & ~missing_us
    found[:1] = False
    return found


def waited(
    kept: Attention, source: Source, place: int, until_us: int, plan: DecisionPlan
) -> tuple[int, Attention]:
    """The row from which on rows must be stepped, and what is remembered before it.

    place: of the row that follows on the last one that was stepped. until_us: rows that end from
    then on are not passed over.
    """
    if place == 0 or place >= len(source.rows) or not _only_waits(kept):
        return place, kept
    columns = source.rows.columns
    last = place - 1
    if kept.minutes.start_us != columns["start_us"][last] or (
        kept.minutes.start_counter != columns["start_counter"][last]
    ):
        return place, kept
    behind = min(place + WAITED_MAX, int(np.searchsorted(source.ends_us, until_us)))
    if behind <= place:
        return place, kept
    ends = np.flatnonzero(~source.still[place:behind])
    behind = place + int(ends[0]) if ends.size else behind
    if behind == place or not _is_past(kept, columns, place):
        return place, kept
    counted_us = np.cumsum(columns["duration_us"][place:behind])
    room_us = min(
        _left_us(alarm, watch, source.name, plan) for alarm, watch in kept.watches.items()
    )
    count = int(np.searchsorted(counted_us, room_us))
    if not count:
        return place, kept
    gone_us, at = int(counted_us[count - 1]), place + count - 1
    watches = {
        alarm: replace(watch, run_us=watch.run_us + gone_us)
        for alarm, watch in kept.watches.items()
    }
    start_us, counter, lasted_us = (
        int(columns[name][at]) for name in ("start_us", "start_counter", "duration_us")
    )
    trail = Trail(start_us, counter, start_us + lasted_us, plan.counter_at(counter, lasted_us))
    return place + count, replace(kept, watches=watches, minutes=trail)


def _only_waits(kept: Attention) -> bool:
    """Whether all that runs are off-delays, with good data up to now."""
    return (
        bool(kept.watches)
        and kept.minutes.since_arc_us is None
        and not kept.damp
        and not kept.dark_us
        and all(
            watch.phase is Phase.PENDING_OUT and not watch.lost_us and alarm not in _HELD_AT_TIMES
            for alarm, watch in kept.watches.items()
        )
    )


_HELD_AT_TIMES = (Alarm.DRY_AIR_CURRENT, Alarm.SENSOR_FAILED)
"""Not judged in air that is not dry, or with the line out of service: their off-delays may pause on
still rows."""


def _is_past(kept: Attention, columns: Mapping[str, Ints], place: int) -> bool:
    """Whether the rows began after every condition went in."""
    start_us, counter = int(columns["start_us"][place]), int(columns["start_counter"][place])
    return all(
        start_us >= watch.in_us or counter >= watch.in_counter for watch in kept.watches.values()
    )


def _left_us(alarm: Alarm, watch: Watch, insulator: str, plan: DecisionPlan) -> int:
    """Good data until the off-delay is over."""
    bound = next(one for one in plan.insulators[insulator] if one.definition.id is alarm)
    return bound.delays.off_us - watch.run_us
