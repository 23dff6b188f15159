"""The order of a list of insulators: what is most urgent first."""

from __future__ import annotations

from gateway.trends.assessment import Decision
from gateway.trends.change import InsulatorTrend

URGENCY = (
    Decision.REPLACE,
    Decision.RECOAT,
    Decision.WASH,
    Decision.INSPECT,
    Decision.CANNOT_DECIDE,
    Decision.NONE_INDICATED,
)
"""Order of the list; within one decision the larger index ratio, then the longer arcing first."""


def urgency(one: InsulatorTrend) -> tuple[int, float, float, str]:
    """Sorts the most urgent first, by name at last."""
    return (
        URGENCY.index(one.advice.decision),
        -(one.index_ratio or 0.0),
        -(one.standing.arcing_h or 0.0),
        one.insulator,
    )
