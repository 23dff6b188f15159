"""The sender's whole state, and the small steps that every reaction takes on it."""

from __future__ import annotations

from dataclasses import dataclass, replace

from edge.records import Stream
from edge.send.backoff import next_chance
from edge.send.lanes import SECOND_NS, SendLane
from edge.send.messages import Action, Notice
from edge.wire import MESSAGE_BYTES_MAX

WINDOW_BYTES_START = 4 * 1024
"""A new connection may be a narrow one: it shows within a few round trips that it is not."""

NOTICE_NS = 60 * SECOND_NS
"""The same notice is given at most once in this time."""

ORDER = (Stream.ALARM, Stream.HEALTH, Stream.INTERVAL, Stream.WEATHER, Stream.CAPTURE)
"""Who is asked first."""


@dataclass(frozen=True, slots=True)
class Sending:
    """The whole state. seed: of the chance for waits. round_trip_ns: smoothed, 0 while unknown.

    lanes: oldest epoch first. noticed: when each notice may be given again.
    """

    seed: int
    lanes: tuple[SendLane, ...] = ()
    up: bool = False
    congested: bool = False
    message_bytes_max: int = MESSAGE_BYTES_MAX
    window_bytes: int = WINDOW_BYTES_START
    round_trip_ns: int = 0
    noticed: tuple[tuple[str, int], ...] = ()


Outcome = tuple[Sending, tuple[Action, ...]]


def find(state: Sending, epoch: str, stream: Stream) -> SendLane | None:
    for lane in state.lanes:
        if lane.stream is stream and lane.epoch == epoch:
            return lane
    return None


def put(state: Sending, changed: SendLane) -> Sending:
    lanes = tuple(
        changed if (lane.epoch, lane.stream) == (changed.epoch, changed.stream) else lane
        for lane in state.lanes
    )
    return replace(state, lanes=lanes)


def active(state: Sending) -> tuple[SendLane, ...]:
    """For each stream the oldest lane that the gateway does not wholly hold, alarms first."""
    found: dict[Stream, SendLane] = {}
    for lane in state.lanes:
        if lane.receipted < lane.last:
            found.setdefault(lane.stream, lane)
    return tuple(found[stream] for stream in ORDER if stream in found)


def draw(state: Sending) -> tuple[Sending, int]:
    seed, chance_ppm = next_chance(state.seed)
    return replace(state, seed=seed), chance_ppm


def noticing(state: Sending, notice: Notice, now_ns: int) -> Outcome:
    """Give a notice unless the same was given a moment ago."""
    noticed = dict(state.noticed)
    if now_ns < noticed.get(notice.event, 0):
        return state, ()
    noticed[notice.event] = now_ns + NOTICE_NS
    return replace(state, noticed=tuple(sorted(noticed.items()))), (notice,)
