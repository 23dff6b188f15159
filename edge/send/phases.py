"""A lane's phases as a table, and the diagram drawn from it.

A lane is one stream of one epoch. What it may do depends on its phase alone; the table says, for
every phase and everything that can happen, which phase follows.
"""

from __future__ import annotations

from enum import StrEnum


class Phase(StrEnum):
    """What a lane may do."""

    DOWN = "down"  # no link: nothing is sent
    PROBING = "probing"  # the gateway is not heard: one message, then wait for its receipt
    FLOWING = "flowing"  # receipts come: as many messages as the window allows
    DRAINED = "drained"  # the gateway holds everything there is


class Signal(StrEnum):
    """What can happen to a lane."""

    LINK_UP = "link up"
    LINK_DOWN = "link down"
    ROWS = "new records"
    PROGRESS = "receipt, more to come"
    COMPLETE = "receipt for the last"
    SILENCE = "no receipt in time"
    REFUSED = "broker refuses or nobody listens"
    REOPENED = "gateway asks again"


P, S = Phase, Signal

TRANSITIONS: dict[tuple[Phase, Signal], Phase] = {
    (P.DOWN, S.LINK_UP): P.PROBING,
    (P.DOWN, S.LINK_DOWN): P.DOWN,
    (P.DOWN, S.ROWS): P.DOWN,
    (P.DOWN, S.PROGRESS): P.DOWN,  # a receipt that was read before the link was known to be down
    (P.DOWN, S.COMPLETE): P.DOWN,
    (P.DOWN, S.SILENCE): P.DOWN,
    (P.DOWN, S.REFUSED): P.DOWN,
    (P.DOWN, S.REOPENED): P.DOWN,
    (P.PROBING, S.LINK_UP): P.PROBING,
    (P.PROBING, S.LINK_DOWN): P.DOWN,
    (P.PROBING, S.ROWS): P.PROBING,
    (P.PROBING, S.PROGRESS): P.FLOWING,
    (P.PROBING, S.COMPLETE): P.DRAINED,
    (P.PROBING, S.SILENCE): P.PROBING,
    (P.PROBING, S.REFUSED): P.PROBING,
    (P.PROBING, S.REOPENED): P.PROBING,
    (P.FLOWING, S.LINK_UP): P.PROBING,
    (P.FLOWING, S.LINK_DOWN): P.DOWN,
    (P.FLOWING, S.ROWS): P.FLOWING,
    (P.FLOWING, S.PROGRESS): P.FLOWING,
    (P.FLOWING, S.COMPLETE): P.DRAINED,
    (P.FLOWING, S.SILENCE): P.PROBING,
    (P.FLOWING, S.REFUSED): P.PROBING,
    (P.FLOWING, S.REOPENED): P.PROBING,
    (P.DRAINED, S.LINK_UP): P.PROBING,
    (P.DRAINED, S.LINK_DOWN): P.DOWN,
    (P.DRAINED, S.ROWS): P.FLOWING,
    (P.DRAINED, S.PROGRESS): P.FLOWING,
    (P.DRAINED, S.COMPLETE): P.DRAINED,
    (P.DRAINED, S.SILENCE): P.PROBING,
    (P.DRAINED, S.REFUSED): P.PROBING,
    (P.DRAINED, S.REOPENED): P.PROBING,
}


def diagram() -> str:
    """The table as a Mermaid state diagram; what leaves a phase as it is stays out."""
    labels: dict[tuple[Phase, Phase], list[str]] = {}
    for (phase, signal), following in TRANSITIONS.items():
        if following is not phase:
            labels.setdefault((phase, following), []).append(signal.value)
    arrows = [
        f"    {phase} --> {following}: {' / '.join(signals)}"
        for (phase, following), signals in labels.items()
    ]
    return "\n".join(["stateDiagram-v2", f"    [*] --> {Phase.DOWN}", *arrows])
