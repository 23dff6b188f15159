"""What a step has in hand while it is carried out."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from edge.commissioning.asking import Person, Place, Question
from edge.commissioning.bench import Bench
from edge.commissioning.journal import Begun
from edge.daemon.faults import SourceSilent
from edge.daemon.looking import Look
from edge.measure.windows import ABSENT, WindowTable
from edge.register import InsulatorPart

LOOK_S = 3.0
"""Signal of one measurement: fifteen windows."""


@dataclass(frozen=True, slots=True)
class Visit:
    """entered: answers so far. begun: when the step began, and what it kept before a cut.

    keep: makes interim findings durable.
    """

    place: Place
    bench: Bench
    person: Person
    entered: Mapping[str, str]
    begun: Begun
    keep: Callable[[Mapping[str, Any]], None]

    @property
    def insulator(self) -> InsulatorPart:
        """The insulator of the step."""
        wanted = self.place.insulator
        return next(one for one in self.bench.settings.insulator if one.id == wanted)

    def act(self, words: str) -> None:
        """Something is done by hand. Raises GivenUp."""
        if not self.person.act(self.place, words):
            raise GivenUp(words)

    def ask(self, question: Question) -> str:
        """ "" where it is left blank."""
        return self.person.ask(self.place, question)

    def look(self, signal_s: float = LOOK_S) -> tuple[WindowTable, Look]:
        """The insulator's windows from now on. Raises SourceSilent."""
        seen = self.bench.look(signal_s)
        table = seen.windows.get(self.place.insulator)
        if table is None or not len(table):
            raise SourceSilent(f"no measurement: no window of {self.place.insulator}")
        return table, seen


class GivenUp(ValueError):
    """The fitter's: the step is left blank."""


class RangeUnknown(ValueError):
    """The installer's: neither settings nor source say what a sensor can show."""


def mean_ma(table: WindowTable, column: str) -> float:
    """Mean of a column in nA over the windows that tell it, in mA; nan where none does."""
    nanos = getattr(table, column)
    told = nanos[nanos != ABSENT]
    return float(np.mean(told)) / 1e6 if len(told) else float("nan")


def full_scale_ma(visit: Visit) -> float:
    """Peak that the coarsest range can show: as the register says, else by the converter's ends."""
    last = visit.insulator.ranges[-1]
    if last.full_scale_ma is not None:
        return last.full_scale_ma
    channels = visit.bench.listener().source.description.channels
    channel = next(one for one in channels if one.name == last.channel)
    ends = [end for end in (channel.raw_min, channel.raw_max) if end is not None]
    if not ends:
        raise RangeUnknown(
            f"insulator {visit.place.insulator}: neither the settings (full_scale_ma) nor the "
            "source say what its sensor can show; add full_scale_ma"
        )
    return min(abs(end * channel.gain + channel.offset) for end in ends)
