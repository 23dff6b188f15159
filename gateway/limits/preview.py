"""What other limits would have done: the stored past decided again, beside what really happened."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from edge.decide.alarm_table import DEFAULT_ALARMS
from edge.decide.binding import DecisionPlan, WatchedInsulator, bind
from edge.decide.definitions import Alarm, DefinitionFault, adjusted
from edge.decide.evaluation import DecidedRecord, decision_order
from edge.limits import bound
from edge.records import ConditionChange
from edge.settings import Settings, SettingsError, adjustments
from gateway.alarms.performance import Figures
from gateway.history.store import SiteReader
from gateway.limits.changing import ChangeRefused, sheet
from gateway.limits.versions import Version
from gateway.replay.comparison import Comparison, compared
from gateway.replay.load import operator_load
from gateway.replay.occurrences import occurrences
from gateway.replay.rows import decided_again, stored_rows

WARM_UP_US = 4 * 3_600_000_000
"""Deciding begins this long before the time asked about, so that delays have run and the air's
dryness is known; what it says of the time before is passed over."""

TOLERANCE_US = 600_000_000
"""Alarms that begin no further apart are the same alarm."""


TOLD_EVERY_ROWS = 256
"""Progress is told after so many rows."""

Progress = Callable[[int], None]


def _nobody_asks(at_us: int) -> None:
    """Progress that nobody looks at."""


@dataclass(frozen=True, slots=True)
class Preview:
    """A time decided with other limits (b) beside what was recorded then (a).

    rows: that were decided on. comparison: only_a would not have come, only_b would have come
    besides. exact: the unit's register was at hand; else every insulator is near its margin at
    100 mA, whatever its creepage. load_*: what the operating position gets of this unit alone.
    """

    unit: str
    from_us: int
    to_us: int
    rows: int
    exact: bool
    comparison: Comparison
    load_a: Figures
    load_b: Figures


def plan_of(version: Version, insulators: Sequence[str], settings: Settings | None) -> DecisionPlan:
    """The plan that decides with a version. Raises ChangeRefused where it cannot work.

    settings: a copy of the unit's settings file, None where there is none at hand. The sampling
    rate is the unit's alone to know; without it gaps between rows are told by UTC.
    """
    try:
        if settings is not None:
            return bound(settings, sheet(version), None)
        parts = sheet(version).alarms or {}
        _check_names(parts)
        definitions = adjusted(DEFAULT_ALARMS, adjustments(parts))
        return bind(definitions, [WatchedInsulator(one) for one in insulators])
    except (SettingsError, DefinitionFault) as fault:
        raise ChangeRefused(f"limits of {version.unit}: {fault}") from fault


def _check_names(alarms: Mapping[str, Any]) -> None:
    known = [alarm.value for alarm in Alarm]
    for name in alarms:
        if name not in known:
            raise ChangeRefused(f"alarms.{name} is unknown; there are {', '.join(known)}")


def preview(
    reader: SiteReader,
    version: Version,
    insulators: Sequence[str],
    settings: Settings | None,
    from_us: int,
    to_us: int,
    progress: Progress = _nobody_asks,
) -> Preview:
    """The time [from_us, to_us) of a unit. progress: hears now and then how far it is [us UTC].

    Raises ChangeRefused, HistoryFault."""
    plan = plan_of(version, insulators, settings)
    counted = _Counted(progress)
    rows = stored_rows(reader, version.unit, insulators, from_us - WARM_UP_US, to_us)
    would = _within(list(decided_again(plan, counted.counting(rows))), from_us, to_us)
    did = _within(_recorded(reader, version.unit, from_us, to_us), from_us, to_us)
    return Preview(
        unit=version.unit,
        from_us=from_us,
        to_us=to_us,
        rows=counted.rows,
        exact=settings is not None,
        comparison=compared(occurrences(did), occurrences(would), TOLERANCE_US),
        load_a=operator_load(did, insulators, from_us, to_us),
        load_b=operator_load(would, insulators, from_us, to_us),
    )


def _recorded(reader: SiteReader, unit: str, from_us: int, to_us: int) -> list[ConditionChange]:
    found: list[ConditionChange] = []
    day_us = 24 * 3_600_000_000
    for start_us in range(from_us, to_us, day_us):
        changes = reader.conditions(start_us, min(start_us + day_us, to_us))
        found += [one.record for one in changes if one.key.unit == unit]
    return found


def _within(changes: list[ConditionChange], from_us: int, to_us: int) -> list[ConditionChange]:
    return [one for one in changes if from_us <= one.at_us < to_us]


class _Counted:
    """How many rows have gone by."""

    def __init__(self, progress: Progress) -> None:
        self.rows = 0
        self._progress = progress

    def counting(self, rows: Iterable[DecidedRecord]) -> Iterator[DecidedRecord]:
        for row in rows:
            self.rows += 1
            if self.rows % TOLD_EVERY_ROWS == 0:
                self._progress(decision_order(row)[0])
            yield row
