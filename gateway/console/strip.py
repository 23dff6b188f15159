"""The strip at the top of every page: what calls, what is put aside, what is watched. Pure."""

from __future__ import annotations

from dataclasses import dataclass

from gateway.alarms.messages import MessageClass
from gateway.alarms.states import Shown
from gateway.console.present import Told
from gateway.console.sources import Standing

WAITING = (Shown.NEW, Shown.LATCHED_NEW)
SEEN = (Shown.ACKNOWLEDGED, Shown.LATCHED)


@dataclass(frozen=True, slots=True)
class Count:
    """Alarms of one priority: new, and acknowledged."""

    priority: int
    new: int
    seen: int


@dataclass(frozen=True, slots=True)
class Strip:
    """sound: priority that waits for somebody, 0 for none. newest_us: end of the newest row of any
    unit, 0 for none. faults: what the gateway itself cannot do. clock: a word where the clock is
    not the real one."""

    counts: tuple[Count, ...]
    cleared: int
    shelved: int
    suppressed: int
    out_of_service: int
    tasks: int
    watched: int
    installed: int
    units_live: int
    units: int
    sound: int
    newest_us: int
    faults: tuple[str, ...]
    clock: str

    @property
    def blind(self) -> bool:
        """Whether anything that should be watched is not."""
        return self.watched < self.installed or bool(self.faults)


def strip_of(told: Told, standing: Standing, clock: str) -> Strip:
    """The strip of the present."""
    alarms = [one for one in told.alarms.alarms if one.message is MessageClass.ALARM]
    shown = [(one.priority, one.shown) for one in alarms]

    def count(*states: Shown) -> int:
        return sum(state in states for _, state in shown)

    ages_us = [one.data_age_us for one in told.picture.units if one.data_age_us is not None]
    return Strip(
        counts=tuple(
            Count(
                priority,
                sum(p == priority and state in WAITING for p, state in shown),
                sum(p == priority and state in SEEN for p, state in shown),
            )
            for priority in (1, 2, 3)
        ),
        cleared=count(Shown.CLEARED),
        shelved=count(Shown.SHELVED),
        suppressed=count(Shown.SUPPRESSED),
        out_of_service=count(Shown.OUT_OF_SERVICE),
        tasks=sum(one.tasks for one in told.alarms.sites),
        watched=sum(one.watched for one in told.picture.sites),
        installed=sum(one.insulators for one in told.picture.sites),
        units_live=sum(one.units_live for one in told.picture.sites),
        units=len(told.picture.units),
        sound=min((one.sound for one in told.alarms.sites if one.sound is not None), default=0),
        newest_us=told.picture.now_us - min(ages_us) if ages_us else 0,
        faults=_faults(standing),
        clock=clock,
    )


def _faults(standing: Standing) -> tuple[str, ...]:
    found = [] if standing.broker_connected else ["the gateway has no connection to its broker"]
    if standing.store_fault:
        found.append("nothing can be stored: " + standing.store_fault)
    return tuple(found)
