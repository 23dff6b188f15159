"""The sending protocol: pure, without clock, socket or thread; the page beside it tells it whole.

`step(state, event, now_ns)` gives the next state and what to do. Every stream is sent in order of
its numbers, within a window, and again from the last receipt where receipts stay away. Only a
receipt of the gateway releases. Streams do not wait for each other; alarms are asked for first.
"""

from __future__ import annotations

from dataclasses import replace

from edge.send import lanes as lane_of
from edge.send.backoff import full_jitter_ns
from edge.send.lanes import SECOND_NS, slowest_ns
from edge.send.messages import (
    Acknowledged,
    BackfillAsked,
    Congested,
    Event,
    Fetched,
    Held,
    LinkDown,
    LinkUp,
    Notice,
    Publish,
    Receipted,
    Release,
    Reopen,
    Reopened,
    Tick,
)
from edge.send.pacing import WINDOW_BYTES_MIN, fetches, paced
from edge.send.phases import Signal
from edge.send.reason_codes import Reaction, reaction
from edge.send.state import WINDOW_BYTES_START, Outcome, Sending, active, draw, find, noticing, put
from edge.wire import MESSAGE_BYTES_MAX, batch_message

REOPEN_NS = 10 * SECOND_NS
"""A lane is opened again for a back-fill at most once in this time."""

BROKER_BYTES_MARGIN = 256
"""What a broker counts beyond the payload: topic and headers."""


def step(state: Sending, event: Event, now_ns: int) -> Outcome:
    """What follows from an event at a monotonic time; times may not run backwards."""
    state, actions = _react(state, event, now_ns)
    state, asked = fetches(state, now_ns)
    return state, (*actions, *asked)


def next_ns(state: Sending) -> int | None:
    """When the next Tick is due; None while only an event can change something."""
    if not state.up or state.congested:
        return None
    due = [lane.silence_ns for lane in state.lanes if lane.silence_ns is not None]
    due += [lane.hold_ns for lane in active(state) if lane.hold_ns and not lane.flights]
    return min(due, default=None)


def _react(state: Sending, event: Event, now_ns: int) -> Outcome:
    match event:
        case Tick():
            return _after_silence(state, now_ns), ()
        case Fetched():
            return _fetched(state, event, now_ns)
        case Receipted():
            return _receipted(state, event, now_ns)
        case Held():
            return _held(state, event), ()
        case Acknowledged():
            return _acknowledged(state, event, now_ns)
        case Congested():
            return replace(state, congested=event.waiting), ()
        case LinkUp():
            return _link_up(state, event, now_ns)
        case LinkDown():
            lanes = tuple(lane_of.gone_back(lane, Signal.LINK_DOWN) for lane in state.lanes)
            return replace(state, lanes=lanes, up=False, congested=False), ()
        case BackfillAsked():
            return _backfill(state, event, now_ns)
        case Reopened():
            return _reopened(state, event), ()


def _link_up(state: Sending, event: LinkUp, now_ns: int) -> Outcome:
    largest = min(
        MESSAGE_BYTES_MAX, (event.message_bytes_max or MESSAGE_BYTES_MAX * 2) - BROKER_BYTES_MARGIN
    )
    lanes = tuple(
        replace(lane_of.gone_back(lane, Signal.LINK_UP), tries=0, hold_ns=0) for lane in state.lanes
    )
    state = replace(
        state,
        lanes=lanes,
        up=True,
        congested=False,
        message_bytes_max=largest,
        window_bytes=WINDOW_BYTES_START,
    )
    if largest < MESSAGE_BYTES_MAX:
        detail: dict[str, int | str] = {"bytes": largest}
        return noticing(state, Notice("broker-limit-small", detail=detail), now_ns)
    return state, ()


def _held(state: Sending, event: Held) -> Sending:
    lane = find(state, event.epoch, event.stream)
    if lane is None:
        new = lane_of.opened(event.epoch, event.stream, event.released, event.last, up=state.up)
        ordered = sorted((*state.lanes, new), key=lambda each: int(each.epoch.split("-")[0], 16))
        return replace(state, lanes=tuple(ordered))
    if event.last <= lane.last:
        return state
    return put(state, replace(lane_of.signalled(lane, Signal.ROWS), last=event.last))


def _fetched(state: Sending, event: Fetched, now_ns: int) -> Outcome:
    lane = find(state, event.epoch, event.stream)
    if lane is None or not state.up or not lane.fetching or event.after != lane.sent:
        return state, ()  # asked before sending went back, or before the link went down
    if event.batch is None:
        return put(state, replace(lane, fetching=0, last=max(lane.receipted, lane.sent))), ()
    payload = batch_message(event.batch)
    state, chance_ppm = draw(state)
    wait_ns = lane_of.silence_wait_ns(lane, state.round_trip_ns, chance_ppm)
    last = event.batch.lines[-1].seq
    lane = lane_of.launched(lane, last, len(payload), now_ns, wait_ns)
    return put(state, lane), (Publish(event.batch, payload),)


def _receipted(state: Sending, event: Receipted, now_ns: int) -> Outcome:
    lane = find(state, event.epoch, event.stream)
    detail: dict[str, int | str] = {"epoch": event.epoch, "stream": event.stream.value}
    detail["upto"] = event.upto
    if lane is None:
        return noticing(state, Notice("receipt-of-unknown-epoch", True, detail), now_ns)
    if event.upto > max(lane.last, lane.highest_sent):
        return noticing(state, Notice("receipt-from-the-future", True, detail), now_ns)
    state = _woken(state, now_ns)
    lane = find(state, event.epoch, event.stream)
    assert lane is not None
    # Above what this run has sent: held there since before a restart; believed as far as sent.
    upto = min(event.upto, lane.highest_sent)
    if upto <= lane.receipted:
        return state, ()
    state = paced(state, lane, upto, now_ns)
    state, chance_ppm = draw(state)
    wait_ns = lane_of.silence_wait_ns(replace(lane, tries=0), state.round_trip_ns, chance_ppm)
    state = put(state, lane_of.landed(lane, upto, now_ns, wait_ns))
    return state, (Release(event.epoch, event.stream, upto),)


def _woken(state: Sending, now_ns: int) -> Sending:
    """The gateway is heard: nobody waits longer than after a first silence."""
    soon_ns = now_ns + max(lane_of.SILENCE_NS_MIN, 4 * state.round_trip_ns)
    lanes = tuple(
        replace(
            lane,
            hold_ns=min(lane.hold_ns, now_ns),
            silence_ns=None if lane.silence_ns is None else min(lane.silence_ns, soon_ns),
        )
        for lane in state.lanes
    )
    return replace(state, lanes=lanes)


def _after_silence(state: Sending, now_ns: int) -> Sending:
    if not state.up or state.congested:
        return state
    for lane in state.lanes:
        if lane.silence_ns is not None and lane.silence_ns <= now_ns:
            gone = lane_of.gone_back(lane, Signal.SILENCE)
            state = put(state, replace(gone, tries=lane.tries + 1))
            state = replace(state, window_bytes=max(WINDOW_BYTES_MIN, state.window_bytes // 2))
    return state


def _acknowledged(state: Sending, event: Acknowledged, now_ns: int) -> Outcome:
    what = reaction(event.reason_code)
    lane = next((lane for lane in active(state) if lane.stream is event.stream), None)
    if what is Reaction.GO_ON or lane is None or not lane.flights:
        return state, ()
    state, chance_ppm = draw(state)
    wait_ns = _refused_ns(lane, what, chance_ppm)
    gone = lane_of.gone_back(lane, Signal.REFUSED)
    state = put(state, replace(gone, tries=lane.tries + 1, hold_ns=now_ns + wait_ns))
    if what is not Reaction.SECURITY:
        return state, ()
    detail: dict[str, int | str] = {"stream": event.stream.value, "code": event.reason_code}
    return noticing(state, Notice("publish-denied", True, detail), now_ns)


def _refused_ns(lane: lane_of.SendLane, what: Reaction, chance_ppm: int) -> int:
    """How long a lane rests after a refusal. A gateway may be away for a restart of the broker
    only, so nobody listening is tried again soon at first, and then less and less often."""
    slowest = slowest_ns(lane.stream)
    match what:
        case Reaction.BACK_OFF:
            return full_jitter_ns(lane.tries + 1, chance_ppm, lane_of.SILENCE_NS_MIN, slowest)
        case Reaction.SLOW_DOWN:
            return min(slowest, lane_of.ALARM_NS_MAX << min(lane.tries, 16))
        case _:
            return slowest


def _backfill(state: Sending, event: BackfillAsked, now_ns: int) -> Outcome:
    """A request from just above the last record is a gateway's question whether it has all."""
    lane = find(state, event.epoch, event.stream)
    if lane is None and event.first == event.last:
        return state, ()  # a question about an epoch of a file that was in this unit before
    if lane is None or not 1 <= event.first <= min(event.last, lane.last + 1):
        detail: dict[str, int | str] = {"epoch": event.epoch, "stream": event.stream.value}
        detail |= {"first": event.first, "last": event.last}
        return noticing(state, Notice("backfill-refused", True, detail), now_ns)
    state = _woken(state, now_ns)
    if event.first > lane.receipted or now_ns < lane.reopen_ns:
        return state, ()  # it is to be sent anyway, or was asked for a moment ago
    lane = find(state, event.epoch, event.stream) or lane
    state = put(state, replace(lane, reopen_ns=now_ns + REOPEN_NS))
    return state, (Reopen(event.epoch, event.stream, event.first),)


def _reopened(state: Sending, event: Reopened) -> Sending:
    lane = find(state, event.epoch, event.stream)
    if lane is None or event.released >= lane.receipted:
        return state
    back = replace(lane, receipted=event.released, last=max(lane.last, event.last), hold_ns=0)
    return put(state, lane_of.gone_back(back, Signal.REOPENED))
