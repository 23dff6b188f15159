"""Virtual units: real envelopes of minute rows and alarms, real receipts, a real window."""

from __future__ import annotations

import json
from collections import deque
from dataclasses import dataclass, field

from edge.records import Condition, Stream
from edge.wire import Batch, Line, batch_message, body_line
from tests.gateway.build import MINUTE_US, condition, epoch_start, interval

START_US = 1_735_689_600_000_000
"""2025-01-01: a backlog of any length stays in the past."""

INSULATORS = 4
WINDOW = 4
"""Messages of a stream on their way without a receipt, as many as a real unit lets there be."""

AGAIN_S = (2.0, 60.0)
"""So long a window is left without a receipt before it is sent again; then twice as long each."""

EPOCH = "1-00000000000000aa"
_ROWS = [body_line(interval(0, f"A{n}", flags=(), start_us=START_US)) for n in range(INSULATORS)]
_PLACE = b'"start_counter":0,"start_us":%d' % START_US
assert all(row.count(_PLACE) == 1 for row in _ROWS)


def row_body(number: int) -> bytes:
    """The canonical line of the minute row that comes as this number, from 0."""
    minute, insulator = divmod(number, INSULATORS)
    place = b'"start_counter":%d,"start_us":%d' % (600_000 * minute, START_US + MINUTE_US * minute)
    return _ROWS[insulator].replace(_PLACE, place)


def alarm_body(number: int) -> bytes:
    """An alarm that goes in, or out again, of one insulator after the other."""
    turn, insulator = divmod(number, INSULATORS)
    word = Condition.IN if turn % 2 == 0 else Condition.OUT
    return body_line(condition(turn, word, subject=f"A{insulator}"))


_BODY = {Stream.INTERVAL: row_body, Stream.ALARM: alarm_body}
_FIRST = body_line(epoch_start())


@dataclass(slots=True)
class Outlet:
    """One stream of a unit. wanted: last number that is to be sent; sent: that was; held: up to
    which the gateway holds it. on_way: last number of each message without a receipt, and when it
    was sent. patience_s: until all of that is sent again."""

    stream: Stream
    wanted: int = 0
    sent: int = 0
    held: int = 0
    patience_s: float = AGAIN_S[0]
    on_way: deque[tuple[int, float]] = field(default_factory=deque)


@dataclass(slots=True)
class VirtualUnit:
    """name: site.monitor. delays_s: from sending to the receipt, of each message."""

    name: str
    outlets: dict[Stream, Outlet] = field(
        default_factory=lambda: {one: Outlet(one) for one in _BODY}
    )
    delays_s: list[float] = field(default_factory=list)

    @property
    def state(self) -> str:
        """Of its state topic."""
        return f"seafret/1/{self.name}/state"

    def topic(self, stream: Stream) -> str:
        """On which it sends."""
        return f"seafret/1/{self.name}/up/{stream.value}"

    def said(self, word: str) -> bytes:
        """What its state topic holds."""
        return json.dumps({"state": word, "epoch": EPOCH}).encode()

    def message(self, stream: Stream, records: int, now_s: float) -> bytes:
        """The next lines of a stream as one message; the first one of all begins the epoch."""
        outlet = self.outlets[stream]
        lines = []
        for seq in range(outlet.sent + 1, outlet.sent + 1 + records):
            body = _FIRST if seq == 1 else _BODY[stream](seq - 2)
            lines.append(Line(seq, 10**9 * seq, START_US + seq, body))
        outlet.sent += records
        outlet.on_way.append((outlet.sent, now_s))
        return batch_message(Batch(self.name, EPOCH, stream, "boot-1", "ntp", tuple(lines)))

    def receipted(self, payload: bytes, now_s: float) -> int:
        """How many records more the gateway holds, by a receipt."""
        told = json.loads(payload)
        outlet = self.outlets.get(Stream(told["stream"]))
        if outlet is None or told["epoch"] != EPOCH or told["upto"] <= outlet.held:
            return 0
        gained: int = told["upto"] - outlet.held
        outlet.held, outlet.patience_s = told["upto"], AGAIN_S[0]
        while outlet.on_way and outlet.on_way[0][0] <= outlet.held:
            self.delays_s.append(now_s - outlet.on_way.popleft()[1])
        return gained

    def goes_back(self) -> None:
        """After a lost connection: all that has no receipt is sent again."""
        for outlet in self.outlets.values():
            outlet.sent = outlet.held
            outlet.on_way.clear()

    def tires(self, now_s: float) -> None:
        """After a while without a receipt the same is sent again."""
        for outlet in self.outlets.values():
            if outlet.on_way and now_s - outlet.on_way[0][1] > outlet.patience_s:
                outlet.patience_s = min(2 * outlet.patience_s, AGAIN_S[1])
                outlet.sent = outlet.held
                outlet.on_way.clear()

    @property
    def is_done(self) -> bool:
        """Whether the gateway holds all that was to be sent."""
        return all(one.held >= one.wanted for one in self.outlets.values())
