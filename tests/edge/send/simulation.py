"""Unit, link, broker and gateway on a virtual clock with seeded faults: a failing seed replays.

The unit's side is the protocol itself. Everything else is a model with the faults that the real
ones have: the broker acknowledges what it then drops, links lose what is on its way, processes die
and forget what was not durable, the gateway comes back as it was yesterday.
"""

from __future__ import annotations

import heapq
import random
from collections.abc import Callable
from dataclasses import dataclass, field, replace

from edge.records import Stream
from edge.send import protocol
from edge.send.messages import (
    Acknowledged,
    Action,
    BackfillAsked,
    Event,
    Fetch,
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
from edge.send.state import Sending
from edge.wire import Batch, Line

MS = 1_000_000
SECOND = 1000 * MS
STREAMS = (Stream.ALARM, Stream.INTERVAL, Stream.HEALTH)

Key = tuple[str, Stream]
Step = Callable[[Sending, Event, int], tuple[Sending, tuple[Action, ...]]]


@dataclass
class File:
    """The durable file: survives the unit's process. handed_out does not."""

    last: dict[Key, int] = field(default_factory=dict)
    released: dict[Key, int] = field(default_factory=dict)
    handed_out: dict[Key, int] = field(default_factory=dict)


@dataclass
class Gateway:
    """stored: what is durable, in order of arrival; tries: answers to a gap that stayed."""

    stored: dict[Key, list[int]] = field(default_factory=dict)
    tries: dict[Key, int] = field(default_factory=dict)
    up: bool = True
    life: int = 0

    def mark(self, key: Key) -> int:
        held = self.stored.get(key)
        return held[-1] if held else 0


@dataclass
class Counts:
    """How often each thing happened, so that a test can tell that it did."""

    published: int = 0
    dropped: int = 0
    edge_died: int = 0
    gateway_died: int = 0
    links_cut: int = 0
    restored: int = 0
    backfills: int = 0
    denied: int = 0
    epochs: int = 1
    notices: set[str] = field(default_factory=set)


class World:
    """One run of one seed. `step` is the protocol; the careless twin deletes what it releases."""

    def __init__(self, seed: int, step: Step = protocol.step) -> None:
        self.deletes = step is careless_step
        self.chance = random.Random(seed)
        self.step = step
        self.now = 0
        self._heap: list[tuple[int, int, Callable[[], None]]] = []
        self._count = 0
        self.file, self.gateway, self.counts = File(), Gateway(), Counts()
        self.epoch = "1-0000000000000001"
        self.epochs = [self.epoch]
        self.state = Sending(seed)
        self.link_up, self.life = False, 0
        self._ticks_at: int | None = None
        self.calm = False
        self._new_epoch()
        self._boot()

    def after(self, delay: int, what: Callable[[], None]) -> None:
        self._count += 1
        heapq.heappush(self._heap, (self.now + delay, self._count, what))

    def run(self, until: int) -> None:
        while self._heap and self._heap[0][0] <= until:
            self.now, _, what = heapq.heappop(self._heap)
            what()
        self.now = until

    # the unit

    def _new_epoch(self) -> None:
        for stream in STREAMS:
            self.file.last[self.epoch, stream] = 1
            self.file.released[self.epoch, stream] = 0

    def _boot(self) -> None:
        self.life += 1
        self.file.handed_out = {}
        self.state = Sending(self.chance.getrandbits(32))
        self.link_up = False
        for (epoch, stream), last in self.file.last.items():
            self.tell(Held(epoch, stream, self.file.released[epoch, stream], last))
        self._reconnect()

    def _reconnect(self) -> None:
        life = self.life

        def try_again() -> None:
            if self.life == life and not self.link_up:
                self.link_up = True
                self.tell(LinkUp())

        self.after(self.chance.randrange(200, 3000) * MS, try_again)

    def commit(self, stream: Stream, rows: int) -> None:
        key = (self.epoch, stream)
        self.file.last[key] += rows
        self.tell(Held(self.epoch, stream, self.file.released[key], self.file.last[key]))

    def tell(self, event: Event) -> None:
        self.state, actions = self.step(self.state, event, self.now)
        for action in actions:
            self._do(action)
        due = protocol.next_ns(self.state)
        if due is not None and due != self._ticks_at:
            self._ticks_at = due
            self.after(max(0, due - self.now), self._tick)

    def _tick(self) -> None:
        self._ticks_at = None
        self.tell(Tick())

    def _do(self, action: Action) -> None:
        life = self.life
        match action:
            case Publish():
                self._publish(action)
            case Notice():
                self.counts.notices.add(action.event)
            case Fetch() | Release() | Reopen():

                def keeper() -> None:
                    if self.life == life:
                        self._keep(action)

                self.after(self.chance.randrange(1, 8) * MS, keeper)

    def _keep(self, request: Fetch | Release | Reopen) -> None:
        key = (request.epoch, request.stream)
        file = self.file
        match request:
            case Release():
                assert request.upto <= file.handed_out.get(key, 0), "released what was never sent"
                file.released[key] = max(file.released[key], request.upto)
            case Reopen() if self.deletes:
                pass
            case Reopen():
                file.released[key] = min(file.released[key], request.first - 1)
                self.tell(Reopened(*key, file.released[key], file.last[key]))
            case Fetch():
                last = min(file.last[key], request.after + min(request.records_max, 7))
                if self.deletes and request.after < file.released[key]:
                    last = request.after
                lines = tuple(Line(seq, 0, 0, b"{}") for seq in range(request.after + 1, last + 1))
                batch = Batch("a.b", *key, "boot", "none", lines) if lines else None
                file.handed_out[key] = max(file.handed_out.get(key, 0), last)
                self.tell(Fetched(*key, request.after, batch))

    # the link and the broker

    def _delay(self) -> int:
        return self.chance.randrange(5, 120) * MS

    def _publish(self, message: Publish) -> None:
        self.counts.published += 1
        life, batch = self.life, message.batch
        if not self.link_up:
            return

        def at_broker() -> None:
            if self._is_lost(0.03):
                return  # lost with the link
            code = 0x00 if self.gateway.up or self.chance.random() < 0.5 else 0x10
            if not self.calm and self.chance.random() < 0.01:
                code = self.chance.choice([0x87, 0x97])
                self.counts.denied += 1
            self.after(self._delay(), lambda: self._acknowledge(life, batch.stream, code))
            if code == 0 and not self._is_lost(0.05):  # acknowledged, then dropped
                for _ in range(2 if self.chance.random() < 0.03 else 1):
                    self.after(self._delay(), lambda: self._arrive(batch))

        self.after(self._delay(), at_broker)

    def _is_lost(self, share: float) -> bool:
        lost = not self.link_up or (not self.calm and self.chance.random() < share)
        self.counts.dropped += lost
        return lost

    def _acknowledge(self, life: int, stream: Stream, code: int) -> None:
        if self.life == life and self.link_up:
            self.tell(Acknowledged(stream, code))

    # the gateway

    def _arrive(self, batch: Batch) -> None:
        if not self.gateway.up:
            return
        life = self.gateway.life
        self.after(self.chance.randrange(1, 60) * MS, lambda: self._store(batch, life))

    def _store(self, batch: Batch, life: int) -> None:
        """The transaction; dying before it forgets the message, dying after it the receipt."""
        gateway, key = self.gateway, (batch.epoch, batch.stream)
        if not gateway.up or gateway.life != life:
            return
        first, held = batch.lines[0].seq, gateway.stored.setdefault(key, [])
        if first > gateway.mark(key) + 1:
            self._answer_gap(key, first)
        else:
            gateway.tries[key] = 0
            held += [line.seq for line in batch.lines if line.seq > gateway.mark(key)]
        self.send_receipt(key)

    def _answer_gap(self, key: Key, first: int) -> None:
        self.gateway.tries[key] = self.gateway.tries.get(key, 0) + 1
        if self.gateway.tries[key] >= 3:
            self.counts.backfills += 1
            asked = BackfillAsked(*key, self.gateway.mark(key) + 1, first - 1)
            self.after(self._delay(), lambda: self.link_up and self.tell(asked))

    def send_receipt(self, key: Key) -> None:
        receipt = Receipted(*key, self.gateway.mark(key))

        def arrives() -> None:
            if self.link_up and not self._is_lost(0.05):
                self.tell(receipt)

        self.after(self._delay(), arrives)

    def repeat(self) -> None:
        """Receipts again, and the question of every stream that the gateway knows of."""
        if self.gateway.up:
            for key in self.gateway.stored:
                self.send_receipt(key)
            for epoch in self._known_epochs():
                for stream in STREAMS:
                    self._ask((epoch, stream))
        self.after(30 * SECOND, self.repeat)

    def _known_epochs(self) -> set[str]:
        """Those it holds something of, and those that their first records chain to."""
        held = {epoch for (epoch, _), seqs in self.gateway.stored.items() if seqs}
        before = {
            self.epochs[at - 1] for at, epoch in enumerate(self.epochs) if at and epoch in held
        }
        return held | before

    def _ask(self, key: Key) -> None:
        next_one = self.gateway.mark(key) + 1
        asked = BackfillAsked(*key, next_one, next_one)
        self.after(self._delay(), lambda: self.link_up and self.tell(asked))

    # faults

    def kill_edge(self) -> None:
        self.counts.edge_died += 1
        self._boot()

    def cut_link(self) -> None:
        if self.link_up:
            self.counts.links_cut += 1
            self.link_up = False
            self.tell(LinkDown())
            self._reconnect()

    def kill_gateway(self) -> None:
        self.counts.gateway_died += 1
        self.gateway.up, self.gateway.life = False, self.gateway.life + 1
        self.after(self.chance.randrange(1, 40) * SECOND, self.start_gateway)

    def start_gateway(self) -> None:
        self.gateway.up = True

    def restore_gateway(self) -> None:
        """The gateway comes back from a backup: what came after it is gone there."""
        self.counts.restored += 1
        for held in self.gateway.stored.values():
            del held[self.chance.randrange(len(held) + 1) :]

    def begin_epoch(self) -> None:
        """The file was repaired: new records go on under another epoch, the old ones stay."""
        self.counts.epochs += 1
        self.epoch = f"{self.counts.epochs:x}-{self.chance.getrandbits(64):016x}"
        self.epochs.append(self.epoch)
        self._new_epoch()
        self._boot()


def careless_step(state: Sending, event: Event, now: int) -> tuple[Sending, tuple[Action, ...]]:
    """The twin that releases, and deletes, on the broker's acknowledgement."""
    released: list[Action] = []
    if isinstance(event, Acknowledged) and event.reason_code == 0:
        for at, lane in enumerate(state.lanes):
            if lane.stream is event.stream and lane.sent > lane.receipted:
                released.append(Release(lane.epoch, lane.stream, lane.sent))
                done = replace(lane, receipted=lane.sent, flights=(), silence_ns=None)
                state = replace(state, lanes=(*state.lanes[:at], done, *state.lanes[at + 1 :]))
    state, actions = protocol.step(state, event, now)
    return state, (*released, *actions)


FAULTS = ("kill_edge", "cut_link", "cut_link", "kill_gateway", "restore_gateway", "begin_epoch")


def stormy(seed: int, step: Step = protocol.step, seconds: int = 120) -> World:
    """A world after faults at random times, a calm, and time to finish."""
    world = World(seed, step)
    world.after(30 * SECOND, world.repeat)
    for _ in range(world.chance.randrange(10, 40)):
        stream, rows = world.chance.choice(STREAMS), world.chance.randrange(1, 15)
        when = world.chance.randrange(seconds) * SECOND
        world.after(when, lambda s=stream, r=rows: world.commit(s, r))  # type: ignore[misc]
    for _ in range(world.chance.randrange(2, 10)):
        fault = getattr(world, world.chance.choice(FAULTS))
        world.after(world.chance.randrange(seconds * 1000) * MS, fault)
    world.run(seconds * SECOND)
    world.calm = True
    world.start_gateway()
    world.run((seconds + 200) * SECOND)
    for stream in STREAMS:  # something new shows the gateway what it may have lost
        world.commit(stream, 1)
    world.run((seconds + 500) * SECOND)
    return world
