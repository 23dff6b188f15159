"""Whether the gateway is sound enough to say so: what a heartbeat rests on. Pure.

A heartbeat that came from a thread of its own would beat on over a dead ingest. So it rests on what
the others have done since the last one.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from edge.wire import canonical

STILL_S = 30.0
"""A thread that has not turned for so long stands still; each turns every two seconds at least."""


@dataclass(frozen=True, slots=True)
class Signs:
    """What is known at a beat. rounds: how often each thread has turned since the start."""

    broker_connected: bool
    store_fault: str
    rounds: Mapping[str, int]


Turns = Mapping[str, tuple[int, float]]
"""By thread, how often it has turned, and when that was first seen, by a steady clock."""


def turned(before: Turns, rounds: Mapping[str, int], now_s: float) -> Turns:
    """After one more look at the threads."""
    return {
        name: before[name] if name in before and before[name][0] == count else (count, now_s)
        for name, count in rounds.items()
    }


def unsound(signs: Signs, turns: Turns, now_s: float) -> tuple[str, ...]:
    """Why the gateway is not sound, nothing where it is."""
    found = []
    if not signs.broker_connected:
        found.append("broker not connected: no unit is heard")
    if signs.store_fault:
        found.append(f"nothing can be stored: {signs.store_fault}")
    still = [name for name, (_, since_s) in turns.items() if now_s - since_s >= STILL_S]
    return (*found, *(f"the thread '{name}' stands still" for name in still))


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
