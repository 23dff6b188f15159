"""How much may be on its way at once, and what is asked of the durable file next."""

from __future__ import annotations

from dataclasses import replace

from edge.records import Stream
from edge.send.lanes import FLIGHTS_MAX, SECOND_NS, SendLane
from edge.send.messages import Action, Fetch
from edge.send.phases import Phase
from edge.send.state import Outcome, Sending, active, put

RECORDS_MAX = 100
"""Records of one message."""

PROBE_BYTES = 2 * 1024
"""A message is at most so large while the gateway is not heard (or one record, if that is larger).

Probes are not held back by the window: a stream that gets no receipts must not silence the others.
"""

BATCH_BYTES_MIN = 2 * 1024
WINDOW_BYTES_MIN = 4 * 1024
WINDOW_BYTES_MAX = 512 * 1024
"""Bytes of routine streams on their way, together; it doubles while round trips are short."""

ROUND_TRIP_NS_LONG = 2 * SECOND_NS
"""Above this round trip the window is halved, so that an alarm never waits long behind rows."""


def fetches(state: Sending, now_ns: int) -> Outcome:
    """Ask for what may be sent now, alarms first."""
    actions: list[Action] = []
    if not state.up or state.congested:
        return state, ()
    for lane in active(state):
        if not _may_send(state, lane, now_ns):
            continue
        size = min(state.message_bytes_max, max(BATCH_BYTES_MIN, state.window_bytes // 2))
        if lane.phase is Phase.PROBING:
            size = min(size, PROBE_BYTES)
        actions.append(Fetch(lane.epoch, lane.stream, lane.sent, RECORDS_MAX, size))
        state = put(state, replace(lane, fetching=size, hold_ns=0))
    return state, tuple(actions)


def _may_send(state: Sending, lane: SendLane, now_ns: int) -> bool:
    if lane.fetching or lane.sent >= lane.last or now_ns < lane.hold_ns:
        return False
    if lane.phase is Phase.PROBING:
        return not lane.flights
    if lane.phase is not Phase.FLOWING or len(lane.flights) >= FLIGHTS_MAX:
        return False
    return lane.stream is Stream.ALARM or _routine_bytes(state) < state.window_bytes


def _routine_bytes(state: Sending) -> int:
    """Bytes of routine streams on their way or asked for."""
    return sum(
        lane.fetching + sum(flight.size_bytes for flight in lane.flights)
        for lane in state.lanes
        if lane.stream is not Stream.ALARM
    )


def paced(state: Sending, lane: SendLane, upto: int, now_ns: int) -> Sending:
    """Round trip and window after the newest message that a receipt covers, if sent only once."""
    covered = [flight for flight in lane.flights if flight.last <= upto]
    if not covered or lane.tries:
        return state
    sample_ns = now_ns - covered[-1].sent_ns
    smooth_ns = (7 * state.round_trip_ns + sample_ns) // 8 if state.round_trip_ns else sample_ns
    window = state.window_bytes
    if sample_ns > ROUND_TRIP_NS_LONG:
        window = max(WINDOW_BYTES_MIN, window // 2)
    elif 2 * sample_ns < ROUND_TRIP_NS_LONG:
        window = min(WINDOW_BYTES_MAX, window + sum(flight.size_bytes for flight in covered))
    return replace(state, round_trip_ns=smooth_ns, window_bytes=window)
