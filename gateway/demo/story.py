"""What happened in the night, by the histories alone. Pure: rows and condition changes in."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from edge.quantities import STATES, State
from edge.records import Condition, ConditionChange, IntervalRow


@dataclass(frozen=True, slots=True)
class AlarmStory:
    """An alarm that came. since_arc_us: after the insulator's first arcing half-cycle; None where
    none came before. over_us: when it was over; None: it was still in at the end."""

    insulator: str
    alarm: str
    priority: int
    in_us: int
    since_arc_us: int | None
    over_us: int | None


@dataclass(frozen=True, slots=True)
class InsulatorStory:
    """An insulator's night. Times are UTC [us], None where it never arced. arcing_us: seconds in
    the two states of arcing; charge_nc: of the arcing half-cycles; peak_us: start of the row that
    holds the highest. highest_ua: of all current; clipped: half-cycles at the sensor's end."""

    site: str
    insulator: str
    covered_us: int
    first_arc_us: int | None
    last_arc_us: int | None
    arcing_halfcycles: int
    arcing_us: int
    charge_nc: int
    peak_ua: int
    peak_us: int | None
    clipped: int
    wet_us: int
    dead_us: int
    unknown_us: int


@dataclass(frozen=True, slots=True)
class Kept:
    """Records of a unit: numbered by its durable file, and found in the gateway's history."""

    unit: str
    committed: int
    stored: int

    @property
    def lost(self) -> int:
        """Numbered, but not in the history."""
        return self.committed - self.stored


@dataclass(frozen=True, slots=True)
class Story:
    """The whole night."""

    begin_us: int
    end_us: int
    insulators: tuple[InsulatorStory, ...]
    alarms: tuple[AlarmStory, ...]
    kept: tuple[Kept, ...]

    @property
    def lost(self) -> int:
        """Records that are missing from the histories."""
        return sum(one.lost for one in self.kept)


def insulator_story(site: str, insulator: str, rows: Sequence[IntervalRow]) -> InsulatorStory:
    """The night of one insulator; rows: those that sum, in order of time."""
    arcing = [row for row in rows if row.first_arc_us is not None]
    highest = max(arcing, key=lambda row: row.arcing_peak_ua, default=None)
    first, last = (arcing[0], arcing[-1]) if arcing else (None, None)
    return InsulatorStory(
        site=site,
        insulator=insulator,
        covered_us=sum(row.duration_us for row in rows),
        first_arc_us=None if first is None else first.start_us + (first.first_arc_us or 0),
        last_arc_us=None if last is None else last.start_us + (last.last_arc_us or 0),
        arcing_halfcycles=sum(row.arcing_halfcycles for row in rows),
        arcing_us=_in_state(rows, State.ARCING_SPARSE) + _in_state(rows, State.ARCING_DENSE),
        charge_nc=sum(sum(row.arcing_charge_nc) for row in rows),
        peak_ua=0 if highest is None else highest.arcing_peak_ua,
        peak_us=None if highest is None else highest.start_us,
        clipped=sum(row.clipped_halfcycles for row in rows),
        wet_us=_in_state(rows, State.WET),
        dead_us=_in_state(rows, State.DE_ENERGISED),
        unknown_us=_in_state(rows, State.UNKNOWN),
    )


def _in_state(rows: Iterable[IntervalRow], state: State) -> int:
    return sum(row.state_us[STATES.index(state)] for row in rows)


def alarm_stories(
    changes: Iterable[ConditionChange], insulators: Iterable[InsulatorStory]
) -> list[AlarmStory]:
    """The alarms that came in, in order; changes: of one site, in order of event time."""
    first_arcs = {one.insulator: one.first_arc_us for one in insulators}
    found: dict[tuple[str, str, int], AlarmStory] = {}
    still_in: dict[tuple[str, str], AlarmStory] = {}
    for change in changes:
        key = (change.alarm, change.subject)
        if change.condition is Condition.IN and key not in still_in:
            first_us = first_arcs.get(change.subject)
            since = None if first_us is None or first_us > change.at_us else change.at_us - first_us
            story = AlarmStory(
                change.subject, change.alarm, change.priority, change.at_us, since, None
            )
            found[*key, change.at_us] = still_in[key] = story
        elif change.condition is Condition.OUT and key in still_in:
            story = still_in.pop(key)
            found[*key, story.in_us] = AlarmStory(
                story.insulator,
                story.alarm,
                story.priority,
                story.in_us,
                story.since_arc_us,
                change.at_us,
            )
    return sorted(found.values(), key=lambda one: (one.in_us, one.priority, one.insulator))
