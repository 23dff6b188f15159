"""One lane of the sender: marks, what is in flight, when it may send and when it goes back."""

from __future__ import annotations

from dataclasses import dataclass, replace

from edge.records import Stream
from edge.send.phases import TRANSITIONS, Phase, Signal

SECOND_NS = 1_000_000_000

SILENCE_NS_MIN = SECOND_NS
"""Without a receipt for this long, or four round trips, sending goes back to the last receipt."""

SILENCE_NS_UNKNOWN = 3 * SECOND_NS
"""The wait while no round trip of this connection is known: a narrow link may need it."""

SILENCE_NS_MAX = 60 * SECOND_NS
"""The wait doubles with every silence up to this."""

ALARM_NS_MAX = 5 * SECOND_NS
"""An alarm is tried at least this often while there is a link, whoever may be listening."""

FLIGHTS_MAX = 4
"""Messages of one lane without a receipt; five streams stay within the usual 20 of a broker."""


@dataclass(frozen=True, slots=True)
class Flight:
    """A message on its way: its last number, its size, when it was sent."""

    last: int
    size_bytes: int
    sent_ns: int


@dataclass(frozen=True, slots=True)
class SendLane:
    """One stream of one epoch.

    receipted <= sent <= highest_sent <= last. sent falls back to receipted where sending goes back;
    highest_sent does not: a receipt up to it is believed. fetching: bytes asked of the durable
    file, 0 while nothing is asked. hold_ns: nothing is sent before. silence_ns: sending goes back.
    tries: silences and refusals since the last progress. reopen_ns: no back-fill before.
    """

    epoch: str
    stream: Stream
    receipted: int
    sent: int
    highest_sent: int
    last: int
    phase: Phase
    flights: tuple[Flight, ...] = ()
    fetching: int = 0
    hold_ns: int = 0
    silence_ns: int | None = None
    tries: int = 0
    reopen_ns: int = 0


def opened(epoch: str, stream: Stream, released: int, last: int, *, up: bool) -> SendLane:
    """A lane as the durable file tells of it first."""
    phase = Phase.PROBING if up else Phase.DOWN
    return SendLane(epoch, stream, released, released, released, last, phase)


def signalled(lane: SendLane, signal: Signal) -> SendLane:
    """The lane in the phase that follows."""
    return replace(lane, phase=TRANSITIONS[lane.phase, signal])


def gone_back(lane: SendLane, signal: Signal) -> SendLane:
    """Everything after the last receipt is to be sent again."""
    return replace(
        signalled(lane, signal), sent=lane.receipted, flights=(), fetching=0, silence_ns=None
    )


def silence_wait_ns(lane: SendLane, round_trip_ns: int, chance_ppm: int) -> int:
    """How long to wait for a receipt; up to a quarter more by chance."""
    base = max(SILENCE_NS_MIN, 4 * round_trip_ns) if round_trip_ns else SILENCE_NS_UNKNOWN
    wait = min(base << min(lane.tries, 16), max(base, slowest_ns(lane.stream)))
    return wait + wait * chance_ppm // 4_000_000


def slowest_ns(stream: Stream) -> int:
    """The longest wait between two tries of a stream."""
    return ALARM_NS_MAX if stream is Stream.ALARM else SILENCE_NS_MAX


def launched(lane: SendLane, last: int, size_bytes: int, now_ns: int, wait_ns: int) -> SendLane:
    """A message was handed to the network."""
    return replace(
        lane,
        sent=last,
        highest_sent=max(lane.highest_sent, last),
        last=max(lane.last, last),
        flights=(*lane.flights, Flight(last, size_bytes, now_ns)),
        fetching=0,
        silence_ns=now_ns + wait_ns if lane.silence_ns is None else lane.silence_ns,
    )


def landed(lane: SendLane, upto: int, now_ns: int, wait_ns: int) -> SendLane:
    """The gateway holds everything up to `upto`, which is progress."""
    flights = tuple(flight for flight in lane.flights if flight.last > upto)
    sent = max(lane.sent, upto)
    moved = replace(
        lane,
        receipted=upto,
        sent=sent,
        flights=flights,
        fetching=lane.fetching if sent == lane.sent else 0,
        tries=0,
        hold_ns=min(lane.hold_ns, now_ns),
        silence_ns=now_ns + wait_ns if flights else None,
    )
    return signalled(moved, Signal.COMPLETE if upto >= lane.last else Signal.PROGRESS)
