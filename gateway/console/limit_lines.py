"""Limits that drawings show: those in force where a part of the gateway knows them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from edge.decide.alarm_table import DEFAULT_ALARMS
from edge.decide.definitions import Alarm


def _default(alarm: Alarm, quantity: str) -> int:
    return next(one.limit(quantity).at for one in DEFAULT_ALARMS if one.id is alarm)


@dataclass(frozen=True, slots=True)
class LimitLines:
    """One insulator's limits as its plots draw them.

    margin_ua: arcing peak at which 'near the margin' comes. arcs_per_min: arcing half-cycles a
    minute at which arcing is called. said: whose they are, in words. sure: whether its unit is
    known to decide with them. path: page that tells more, "" for none.
    """

    margin_ua: int
    arcs_per_min: int
    said: str
    sure: bool
    path: str = ""

    @property
    def margin_ma(self) -> float:
        """As the axes of current have it."""
        return self.margin_ua / 1000


DEFAULT_LINES = LimitLines(
    _default(Alarm.NEAR_MARGIN, "arcing_peak_ua"),
    _default(Alarm.ARCING, "arcing_halfcycles_per_min"),
    "the program's defaults; what the unit decides with is not known here",
    False,
)
"""Where nobody knows better."""

LimitsOf = Callable[[str, str], LimitLines]
"""By site and insulator."""
