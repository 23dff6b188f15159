"""Is anything missing of what a unit has? Whom the gateway asks, and when. Pure.

A gap shows only when something comes after it. A gateway that was restored from a backup may lack
the end of a stream that has nothing more to say, or a whole epoch. So it asks of all five streams
for the number above its mark: after its own start of the epochs that it knows last, and of every
epoch that it hears of, and of the one that this chains to. A unit that has nothing above does not
answer; one that has sends it again. Times are seconds of a steady clock.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from edge.records import Stream
from gateway.history.store import StreamKey
from gateway.ingest.intake import Standing
from gateway.ingest.receipts import REQUEST_VALID_US, Outgoing, back_fill

WAITS_S = (20.0, 60.0, 3600.0)
"""Until the same epoch is asked about again; the last one goes on: a question may be lost."""

HEARD_S = 120.0
"""Only a unit heard within this time is asked: one that is away would not hear the question."""

ASKED_A_TURN = 20
"""Questions sent at once; a fleet that has been away is asked about in turn, not in one flood."""

Epoch = tuple[str, str]
"""Unit and epoch."""


@dataclass(frozen=True, slots=True)
class Due:
    """When an epoch is asked about next, and how often it was."""

    at_s: float
    times: int = 0


@dataclass(frozen=True, slots=True)
class Questions:
    """due: by unit and epoch, in the order in which they came up. heard_s: of each unit."""

    due: Mapping[Epoch, Due] = field(default_factory=dict)
    heard_s: Mapping[str, float] = field(default_factory=dict)


def raised(questions: Questions, epochs: Iterable[Epoch], now_s: float) -> Questions:
    """With these epochs to be asked about, unless they are already."""
    new = {epoch: Due(now_s) for epoch in epochs if epoch not in questions.due}
    return replace(questions, due={**questions.due, **new}) if new else questions


def heard(
    questions: Questions, standings: Iterable[Standing], online: Iterable[str], now_s: float
) -> Questions:
    """After messages of units, and units that say that they are online."""
    epochs: dict[Epoch, None] = {}
    units = dict.fromkeys(online, now_s)
    for standing in standings:
        units[standing.key.unit] = now_s
        if not standing.upto:
            continue  # nothing of it has entered: anybody can make up an epoch
        epochs[standing.key.unit, standing.key.epoch] = None
        if standing.previous_epoch:
            epochs[standing.key.unit, standing.previous_epoch] = None
    if units:
        questions = replace(questions, heard_s={**questions.heard_s, **units})
    return raised(questions, epochs, now_s)


def asked(
    questions: Questions, marks: Mapping[StreamKey, int], now_s: float, now_us: int
) -> tuple[Questions, tuple[Outgoing, ...]]:
    """The questions that are due, at most so many; the others wait for the next turn."""
    due = dict(questions.due)
    outgoing: list[Outgoing] = []
    for (unit, epoch), when in questions.due.items():
        if len(outgoing) + len(Stream) > ASKED_A_TURN:
            break
        if now_s < when.at_s or now_s - questions.heard_s.get(unit, -HEARD_S) >= HEARD_S:
            continue
        for stream in Stream:
            key = StreamKey(unit, epoch, stream)
            number = marks.get(key, 0) + 1
            outgoing.append(back_fill(key, (number, number), now_us + REQUEST_VALID_US))
        wait_s = WAITS_S[min(when.times, len(WAITS_S) - 1)]
        due[unit, epoch] = Due(now_s + wait_s, when.times + 1)
    return (replace(questions, due=due), tuple(outgoing)) if outgoing else (questions, ())
