"""What the service manager is told: ready, alive, ending.

It is told 'alive' only while the gateway's threads do their rounds; a gateway that hangs is then
killed and started anew. Whether the broker or a unit can be reached does not matter: a restart
would not mend it.
"""

from __future__ import annotations

import os
import socket
from collections.abc import Mapping
from dataclasses import dataclass, field

ROUND_S_MAX = 45.0
"""A thread that has not come round for so long hangs; the longest that it may rest is 30 s."""


@dataclass(frozen=True, slots=True)
class Rounds:
    """seen: each thread's count of rounds and when it was last seen to change."""

    seen: Mapping[str, tuple[int, float]] = field(default_factory=dict)


def looked(rounds: Rounds, counts: Mapping[str, int], now_s: float) -> Rounds:
    """After a look at the threads' counts; `now_s` of a steady clock."""
    return Rounds(
        {
            name: held
            if (held := rounds.seen.get(name)) is not None and held[0] == count
            else (count, now_s)
            for name, count in counts.items()
        }
    )


def hanging(rounds: Rounds, now_s: float) -> tuple[str, ...]:
    """The threads that hang, by name."""
    return tuple(
        sorted(name for name, (_, at_s) in rounds.seen.items() if now_s - at_s > ROUND_S_MAX)
    )


def notify(state: str) -> None:
    """Tell the service manager, where there is one (sd_notify(3): a datagram, as recalled)."""
    where = os.environ.get("NOTIFY_SOCKET")
    if not where:
        return
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as to:
        to.sendto(state.encode(), "\0" + where[1:] if where.startswith("@") else where)
