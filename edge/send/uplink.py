"""The thread that owns the network: the protocol's steps between the broker and the durable file.

It never touches the durable file. What it wants of it goes out through `to_keeper`, what comes back
is put into its inbox by `post`; both are plain messages, and neither side ever waits for the other.
"""

from __future__ import annotations

import logging
import queue
import select
import socket
import ssl
import threading
from collections.abc import Callable

from edge.send import protocol
from edge.send.backoff import full_jitter_ns, next_chance
from edge.send.lanes import SECOND_NS
from edge.send.link import Broker, Link
from edge.send.messages import (
    Action,
    Asked,
    Congested,
    Event,
    KeeperAnswer,
    KeeperRequest,
    LinkDown,
    LinkUp,
    NewEpoch,
    Notice,
    Publish,
    Tick,
)
from edge.send.state import Sending, noticing

log = logging.getLogger("seafret.send")

RECONNECT_NS_MIN = SECOND_NS
RECONNECT_NS_MAX = 60 * SECOND_NS
"""Waits between attempts grow from the first to the second, evenly by chance from zero."""

STEADY_NS = 30 * SECOND_NS
"""A connection that held for this long starts the waits anew."""

ANSWER_NS_MAX = 15 * SECOND_NS
"""A broker that took the connection but has not accepted it by then is given up."""

TURN_NS_MAX = SECOND_NS
"""The thread shows that it lives, and looks after the connection, at least this often."""


class Uplink:
    """Sends what the durable file holds, from `start` to `stop`.

    alive_ns: when the thread last turned, for the watchdog. failure: what ended it, a bug.
    """

    def __init__(
        self,
        unit: str,
        epoch: str,
        broker: Broker,
        to_keeper: Callable[[KeeperRequest], None],
        *,
        seed: int,
        now_ns: Callable[[], int],
        now_us: Callable[[], int | None],
    ) -> None:
        """to_keeper: must not block (put into a queue). seed: of the chance for waits.

        now_ns: real monotonic time, never accelerated. now_us: UTC, None while it is not trusted.
        """
        self._unit, self._epoch, self._broker = unit, epoch, broker
        self._to_keeper, self._now_ns, self._now_us = to_keeper, now_ns, now_us
        self._state = Sending(seed)
        self._link: Link | None = None
        self._attempts, self._retry_ns, self._since_ns = 0, 0, 0
        self._inbox: queue.SimpleQueue[KeeperAnswer] = queue.SimpleQueue()
        self._wake, self._waker = socket.socketpair()
        self._wake.setblocking(False)
        self._waker.setblocking(False)
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="uplink", daemon=True)
        self.alive_ns = now_ns()
        self.failure: BaseException | None = None
        self.connected = threading.Event()

    def start(self) -> None:
        """Start the thread."""
        self._thread.start()

    def post(self, answer: KeeperAnswer) -> None:
        """Tell the sender what the durable file holds or answers; from any thread."""
        self._inbox.put(answer)
        self._ring()

    def stop(self, timeout_s: float) -> None:
        """Say 'offline', end the connection and the thread; from another thread, once."""
        self._stopping.set()
        self._ring()
        self._thread.join(timeout_s)
        assert not self._thread.is_alive(), f"the uplink did not end within {timeout_s} s"
        self._wake.close()
        self._waker.close()

    def _ring(self) -> None:
        try:
            self._waker.send(b"!")
        except BlockingIOError:
            return  # a full bell rings already
        except OSError:
            if not self._stopping.is_set():  # after the end nobody listens, which is no fault
                raise

    def _run(self) -> None:
        try:
            while not self._stopping.is_set():
                self._turn()
            self._say_goodbye()
        except BaseException as fault:
            self.failure = fault
            raise

    def _turn(self) -> None:
        self.alive_ns = self._now_ns()
        if self._link is None and self.alive_ns >= self._retry_ns:
            self._connect()
        self._wait()
        self._hear_keeper()
        self._hear_link()
        self._step(Tick())
        self._check_congestion()

    def _connect(self) -> None:
        self._since_ns = self._now_ns()
        try:
            link = Link(self._unit, self._epoch, self._broker, self._now_us)
            link.open()
        except (OSError, ValueError) as fault:  # paho says ValueError of a host it cannot use
            log.info("no connection to %s:%d: %s", self._broker.host, self._broker.port, fault)
            if isinstance(fault, ssl.SSLCertVerificationError):
                self._give(Notice("broker-certificate-refused", True, {"why": str(fault)[:200]}))
            self._plan_retry()
            return
        self._link = link

    def _plan_retry(self) -> None:
        now_ns = self._now_ns()
        held = self.connected.is_set() and now_ns - self._since_ns >= STEADY_NS
        self._attempts = 0 if held else self._attempts + 1
        seed, chance_ppm = next_chance(self._state.seed ^ now_ns)
        del seed  # the protocol's own chance is not used up by the shell
        wait_ns = full_jitter_ns(self._attempts, chance_ppm, RECONNECT_NS_MIN, RECONNECT_NS_MAX)
        self._retry_ns = now_ns + wait_ns
        self._link = None
        self.connected.clear()

    def _wait(self) -> None:
        """Until something comes, may be written, or is due."""
        now_ns = self._now_ns()
        due = [now_ns + TURN_NS_MAX]
        if (soonest := protocol.next_ns(self._state)) is not None:
            due.append(soonest)
        if self._link is None:
            due.append(self._retry_ns)
        timeout_s = max(0, min(due) - now_ns) / SECOND_NS
        sock = None if self._link is None else self._link.socket()
        reading = [self._wake] if sock is None else [self._wake, sock]
        writing = [sock] if sock and self._link and self._link.wants_to_write() else []
        if self._link and self._link.has_read_ahead():
            timeout_s = 0
        readable, writable, _ = select.select(reading, writing, [], timeout_s)
        if self._wake in readable:
            self._wake.recv(4096)
        if self._link is not None and sock is not None:
            self._exchange(self._link, sock in readable or timeout_s == 0, bool(writable))

    def _exchange(self, link: Link, readable: bool, writable: bool) -> None:
        if writable:
            link.write()
        if readable and link.socket() is not None:
            link.read()
        link.keep_alive()

    def _hear_keeper(self) -> None:
        while True:
            try:
                answer = self._inbox.get_nowait()
            except queue.Empty:
                return
            if isinstance(answer, NewEpoch):
                self._epoch = answer.epoch
                self._drop_link()
            else:
                self._step(answer)

    def _hear_link(self) -> None:
        link = self._link
        if link is None:
            return
        while link.heard and self._link is link:
            event = link.heard.popleft()
            if isinstance(event, Notice):
                self._give(event)
            elif isinstance(event, Asked):
                self._to_keeper(event)
            elif isinstance(event, LinkDown):
                self._drop_link()
            else:
                if isinstance(event, LinkUp):
                    self.connected.set()
                self._step(event)
        late = self._now_ns() - self._since_ns > ANSWER_NS_MAX and not self.connected.is_set()
        if self._link is link and (late or link.socket() is None):
            self._drop_link()

    def _drop_link(self) -> None:
        """The connection is over, whoever ended it; another one comes after a while."""
        if self._link is not None:
            self._link.abandon()
            self._plan_retry()
            self._step(LinkDown())

    def _step(self, event: Event) -> None:
        self._state, actions = protocol.step(self._state, event, self._now_ns())
        for action in actions:
            self._do(action)

    def _do(self, action: Action) -> None:
        if not isinstance(action, Publish):
            self._to_keeper(action)
        elif self._link is not None:
            self._link.publish(action)

    def _give(self, notice: Notice) -> None:
        """Hand a notice on, unless the same was given a moment ago."""
        self._state, notices = noticing(self._state, notice, self._now_ns())
        for each in notices:
            self._do(each)

    def _check_congestion(self) -> None:
        waiting = self._link is not None and self._link.is_congested()
        if waiting != self._state.congested:
            self._step(Congested(waiting))

    def _say_goodbye(self) -> None:
        if self._link is None:
            return
        self._link.close()
        until_ns = self._now_ns() + SECOND_NS
        while (sock := self._link.socket()) is not None and self._link.wants_to_write():
            left_s = (until_ns - self._now_ns()) / SECOND_NS
            if left_s <= 0 or not select.select([], [sock], [], left_s)[1]:
                break
            self._link.write()
        self._link.abandon()
