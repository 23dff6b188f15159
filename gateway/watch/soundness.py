"""Whether the gateway is sound enough to say so: what a heartbeat rests on. Pure.

A heartbeat that came from a thread of its own would beat on over a dead ingest. So it rests on what
the others have done since the last one.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from edge.wire import canonical


@dataclass(frozen=True, slots=True)
class Signs:
    """What is known at a beat. rounds: how often each thread has turned since the start."""

    broker_connected: bool
    store_fault: str
    rounds: Mapping[str, int]


def unsound(before: Signs | None, now: Signs) -> tuple[str, ...]:
    """Why the gateway is not sound, nothing where it is. before: at the last beat, or None."""
    found = []
    if not now.broker_connected:
        found.append("broker not connected: no unit is heard")
    if now.store_fault:
        found.append(f"nothing can be stored: {now.store_fault}")
    if before is not None:
        found += [
            f"the thread '{name}' stands still"
            for name, count in now.rounds.items()
            if count <= before.rounds.get(name, -1)
        ]
    return tuple(found)


def beat_payload(number: int, at_us: int, why_not: tuple[str, ...], every_s: float) -> bytes:
    """The retained message. number: of the beat since the start. at_us: real time; whoever finds it
    older than three times `every_s` has missed the gateway."""
    return canonical(
        {
            "state": "unsound" if why_not else "sound",
            "number": number,
            "at_us": at_us,
            "every_ms": round(every_s * 1000),
            "why": list(why_not),
        }
    )
