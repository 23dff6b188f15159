"""Contents tried on the last month, in a thread of their own; a page never waits for one."""

from __future__ import annotations

import hashlib
import logging
import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

from edge.wire import canonical
from gateway.history.store import HistoryFault
from gateway.limits.changing import ChangeRefused
from gateway.limits.contents import OWNER, REASON, Content, definitions_of, said_of
from gateway.limits.desk import LimitsDesk
from gateway.limits.preview import Preview
from gateway.limits.versions import Version

log = logging.getLogger("seafret.limits")

HOUR_US = 3_600_000_000
BACK_US = 30 * 24 * HOUR_US
"""'Last month': thirty whole days, up to the hour that has begun."""

KEPT_MAX = 64
"""So many trials are remembered; the one that was longest not looked at goes first."""

WAITING_MAX = 6
"""So many may wait for the one at work; more are refused until one is done."""

GOOD_FOR_S = 6 * 3600.0
"""An older trial is made anew when somebody looks."""

TOLD_EVERY_S = 1.0
"""How often pages hear of progress."""


class State(StrEnum):
    """Of a trial."""

    WAITING = "waiting"
    WORKING = "working"
    DONE = "done"
    FAILED = "failed"


@dataclass(frozen=True, slots=True)
class Trial:
    """One content over one month. percent: how much of the month is through. why: it failed."""

    state: State
    from_us: int
    to_us: int
    percent: int = 0
    found: Preview | None = None
    why: str = ""


def _key(unit: str, content: Content | None) -> str:
    """By what decides; who owns a limit and why decides nothing."""
    said = None
    if content is not None:
        said = {alarm.value: said_of(one) for alarm, one in definitions_of(content).items()}
        for one in said.values():
            del one[OWNER], one[REASON]
    return hashlib.sha256(canonical({"unit": unit, "alarms": said})).hexdigest()


class Trials:
    """One at a time. touch: tells pages that a trial has moved."""

    def __init__(
        self,
        desk: LimitsDesk,
        touch: Callable[[], None],
        steady_s: Callable[[], float] = time.monotonic,
    ) -> None:
        self._desk, self._touch, self._steady_s = desk, touch, steady_s
        self._one_at_a_time = threading.Lock()
        self._working = threading.Lock()
        self._held: OrderedDict[str, tuple[Trial, float]] = OrderedDict()

    def of(self, unit: str, content: Content | None) -> Trial:
        """The trial as it is; where there is none, or an old one, work on it begins.

        content: None is what the unit's settings file says. Raises ChangeRefused."""
        key = _key(unit, content)
        with self._one_at_a_time:
            held = self._held.get(key)
            if held is not None and self._steady_s() < held[1]:
                self._held.move_to_end(key)
                return held[0]
            to_us = (self._desk.now_us() // HOUR_US + 1) * HOUR_US
            trial = Trial(State.WAITING, max(0, to_us - BACK_US), to_us)
            if self._waiting() > WAITING_MAX:
                why = "too many trials wait already; look again when one is done"
                return Trial(State.FAILED, trial.from_us, to_us, why=why)
            self._keep(key, trial)
        version = Version(unit, 1, content, "-", "-", 0)
        work = threading.Thread(
            target=self._work, args=(key, version, trial), name=f"try limits {unit}", daemon=True
        )
        work.start()
        return trial

    def _waiting(self) -> int:
        busy = (State.WAITING, State.WORKING)
        return sum(trial.state in busy for trial, _ in self._held.values())

    def _keep(self, key: str, trial: Trial) -> None:
        self._held[key] = (trial, self._steady_s() + GOOD_FOR_S)
        self._held.move_to_end(key)
        done = [one for one, (trial, _) in self._held.items() if trial.state is not State.WORKING]
        while len(self._held) > KEPT_MAX and done:
            del self._held[done.pop(0)]

    def _put(self, key: str, trial: Trial) -> None:
        with self._one_at_a_time:
            self._keep(key, trial)
        self._touch()

    def _work(self, key: str, version: Version, trial: Trial) -> None:
        from_us, to_us = trial.from_us, trial.to_us
        told_s = self._steady_s()

        def progress(at_us: int) -> None:
            nonlocal told_s
            if self._steady_s() - told_s >= TOLD_EVERY_S:
                told_s = self._steady_s()
                percent = 100 * max(0, at_us - from_us) // (to_us - from_us)
                self._put(key, Trial(State.WORKING, from_us, to_us, min(99, percent)))

        with self._working:
            self._put(key, Trial(State.WORKING, from_us, to_us))
            try:
                found = self._desk.preview(version, from_us, to_us, progress)
                ended = Trial(State.DONE, from_us, to_us, 100, found)
            except (ChangeRefused, HistoryFault, OSError) as fault:
                ended = Trial(State.FAILED, from_us, to_us, why=str(fault))
        self._put(key, ended)
