"""What `decide` remembers between rows."""

from __future__ import annotations

from dataclasses import dataclass, replace

from edge.decide.binding import DecisionPlan
from edge.decide.definitions import Alarm
from edge.decide.setpoints import Watch
from edge.records import LineStatus


@dataclass(frozen=True, slots=True)
class Trail:
    """Where the last row of one chain (minutes, or ten-second rows) ended.

    since_arc_us: good data between the last arcing half-cycle and that end; None: no arc within
    the time in which vanishing current is suspicious.
    """

    start_us: int = -1
    start_counter: int = -1
    end_us: int = 0
    end_counter: int = 0
    since_arc_us: int | None = None


@dataclass(frozen=True, slots=True)
class Attention:
    """What is remembered of one insulator.

    watches: those that are not quiet; an absent one is. dark_us: time that health records called
    the source dead since the last row. damp: conducting in dry air at the last row. idle: nothing
    runs, so that a quiet row changes nothing.
    """

    watches: dict[Alarm, Watch]
    minutes: Trail
    tens: Trail
    dark_us: int = 0
    damp: bool = False
    idle: bool = True


@dataclass(frozen=True, slots=True)
class Air:
    """Dryness of the air. dry_us: weather data under the humidity limit, without rain, on end."""

    start_us: int = -1
    end_us: int = 0
    dry_us: int = 0
    rh_cpct: int | None = None
    is_dry: bool = False


@dataclass(frozen=True, slots=True)
class DecideState:
    """State of `decide`: plain values only. Treat the dicts as frozen: a step makes new ones."""

    insulators: dict[str, Attention]
    unit: dict[Alarm, Watch]
    air: Air
    health_start_us: int = -1
    line: LineStatus = LineStatus.UNKNOWN


NO_TRAIL = Trail()
NO_ATTENTION = Attention({}, NO_TRAIL, NO_TRAIL)


def initial(plan: DecisionPlan) -> DecideState:
    """Nothing seen yet."""
    return DecideState(dict.fromkeys(plan.insulators, NO_ATTENTION), {}, Air())


def resumed(state: DecideState) -> DecideState:
    """The state after a restart of the source, whose counters and clock may begin anew.

    Conditions and delays stay; only the marks by which late rows are told are forgotten. A time
    without rows across the restart is still seen, by UTC.
    """
    return replace(
        state,
        insulators={
            name: replace(kept, minutes=_forgotten(kept.minutes), tens=_forgotten(kept.tens))
            for name, kept in state.insulators.items()
        },
        air=replace(state.air, start_us=-1),
        health_start_us=-1,
    )


def _forgotten(trail: Trail) -> Trail:
    return replace(trail, start_us=-1, start_counter=-1)


def is_calm(state: DecideState, insulator: str) -> bool:
    """Every condition of the insulator is out and known, and no delay runs: its rows may merge."""
    kept = state.insulators.get(insulator)
    return kept is None or kept.idle
