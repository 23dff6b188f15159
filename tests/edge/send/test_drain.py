"""While a backlog drains over a narrow link, an alarm is at most five seconds late."""

from __future__ import annotations

import heapq
from collections.abc import Callable

import pytest

from edge.records import Stream
from edge.send import protocol
from edge.send.link import SEND_BUFFER_BYTES
from edge.send.messages import (
    Congested,
    Event,
    Fetch,
    Fetched,
    Held,
    LinkUp,
    Publish,
    Receipted,
    Tick,
)
from edge.send.state import Sending
from edge.wire import Batch, Line

EPOCH = "1-0000000000000001"
SECOND = 1_000_000_000
LATE_S_MAX = 5.0
BODY = b'{"of":"' + b"x" * 1200 + b'"}'


class NarrowLink:
    """A unit with a backlog on a link of so many bytes a second, first in first out, no loss."""

    def __init__(self, bytes_s: int, round_trip_s: float, backlog: int) -> None:
        self.bytes_s, self.half_ns = bytes_s, int(round_trip_s * SECOND / 2)
        self.now, self.free_at = 0, 0
        self._heap: list[tuple[int, int, Callable[[], None]]] = []
        self._count = 0
        self.state = Sending(1)
        self.last = {Stream.ALARM: 0, Stream.INTERVAL: backlog}
        self.made: dict[int, int] = {}
        self.late_ns: list[int] = []
        self.stored = 0
        self.waiting_most = 0
        self.tell(Held(EPOCH, Stream.INTERVAL, 0, backlog))
        self.tell(Held(EPOCH, Stream.ALARM, 0, 0))
        self.tell(LinkUp())

    def at(self, when: int, what: Callable[[], None]) -> None:
        self._count += 1
        heapq.heappush(self._heap, (when, self._count, what))

    def run(self, seconds: float) -> None:
        while self._heap and self._heap[0][0] <= seconds * SECOND:
            self.now, _, what = heapq.heappop(self._heap)
            what()

    def alarm(self) -> None:
        self.last[Stream.ALARM] += 1
        self.made[self.last[Stream.ALARM]] = self.now
        self.tell(Held(EPOCH, Stream.ALARM, 0, self.last[Stream.ALARM]))

    def tell(self, event: Event) -> None:
        self.state, actions = protocol.step(self.state, event, self.now)
        for action in actions:
            if isinstance(action, Fetch):
                self.at(self.now + 2_000_000, lambda ask=action: self._answer(ask))  # type: ignore[misc]
            elif isinstance(action, Publish):
                self._send(action)
        waiting = (self.free_at - self.now) * self.bytes_s // SECOND > SEND_BUFFER_BYTES
        if waiting != self.state.congested:
            self.tell(Congested(waiting))
            if waiting:
                room_at = self.free_at - SEND_BUFFER_BYTES * SECOND // self.bytes_s
                self.at(room_at + 1, lambda: self.tell(Tick()))
        due = protocol.next_ns(self.state)
        if due is not None:
            self.at(max(due, self.now), lambda: self.tell(Tick()))

    def _answer(self, ask: Fetch) -> None:
        size, body = (1, b"{}") if ask.stream is Stream.ALARM else (len(BODY) + 80, BODY)
        rows = max(1, min(ask.records_max, ask.bytes_max // size))
        last = min(self.last[ask.stream], ask.after + rows)
        lines = tuple(Line(seq, 0, 0, body) for seq in range(ask.after + 1, last + 1))
        batch = Batch("a.b", EPOCH, ask.stream, "boot", "none", lines) if lines else None
        self.tell(Fetched(EPOCH, ask.stream, ask.after, batch))

    def _send(self, message: Publish) -> None:
        begins = max(self.now, self.free_at)
        self.free_at = begins + len(message.payload) * SECOND // self.bytes_s
        waiting = (self.free_at - self.now) * self.bytes_s // SECOND
        self.waiting_most = max(self.waiting_most, waiting)
        self.at(self.free_at + self.half_ns, lambda: self._store(message.batch))

    def _store(self, batch: Batch) -> None:
        last = batch.lines[-1].seq
        if batch.stream is Stream.ALARM:
            for line in batch.lines:
                if (made := self.made.pop(line.seq, None)) is not None:
                    self.late_ns.append(self.now - made)
        else:
            self.stored = max(self.stored, last)
        receipt = Receipted(EPOCH, batch.stream, last)
        self.at(self.now + self.half_ns, lambda: self.tell(receipt))


@pytest.mark.parametrize(
    ("bytes_s", "round_trip_s"),
    [(2000, 0.6), (10_000, 0.3), (100_000, 0.1), (5_000_000, 0.02)],
)
def test_alarms_overtake_a_draining_backlog(bytes_s: int, round_trip_s: float) -> None:
    link = NarrowLink(bytes_s, round_trip_s, backlog=8_000)
    for n in range(40):
        link.at(int((0.5 + 1.7 * n) * SECOND), link.alarm)
    link.run(90)
    assert len(link.late_ns) == 40
    assert max(link.late_ns) / SECOND <= LATE_S_MAX


@pytest.mark.parametrize(
    ("bytes_s", "round_trip_s"), [(10_000, 0.3), (100_000, 0.1), (5_000_000, 0.02)]
)
def test_the_backlog_makes_good_use_of_the_link(bytes_s: int, round_trip_s: float) -> None:
    link = NarrowLink(bytes_s, round_trip_s, backlog=500_000)
    link.run(20)
    before = link.stored
    link.run(60)
    assert (link.stored - before) * len(BODY) / 40 >= 0.6 * min(bytes_s, 2_000_000)


def test_what_is_on_its_way_stays_bounded_whatever_the_backlog() -> None:
    link = NarrowLink(100_000, 0.1, backlog=1_000_000)
    link.run(120)
    assert link.waiting_most <= protocol.MESSAGE_BYTES_MAX * 9
