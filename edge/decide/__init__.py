"""Decide: rows in, condition changes out. Set-points, definitions, evaluation; pure, no arrays."""

from edge.decide.alarm_table import DEFAULT_ALARMS
from edge.decide.binding import DecisionPlan, WatchedInsulator, bind
from edge.decide.evaluation import decision_order, step
from edge.decide.state import DecideState, initial

__all__ = [
    "DEFAULT_ALARMS",
    "DecideState",
    "DecisionPlan",
    "WatchedInsulator",
    "bind",
    "decision_order",
    "initial",
    "step",
]
