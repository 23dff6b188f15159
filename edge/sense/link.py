"""The firmware link as a source: bytes from a serial port to sample blocks, anchors and readings.

`LinkSource` reads one connection until it ends; `edge.sense.reconnecting` opens the port again for
as long as the daemon runs. Both tell the health record what they counted.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from typing import Protocol

from edge.samples import SignalDescription, SourceItem, StreamEnd
from edge.sense import framing, reception
from edge.sense.framing import Deframer
from edge.sense.reception import Reception

READ_BYTES_MAX = 65_536
"""Most that is taken from the port at once; what is left is taken at the next turn."""

STALE_PERIODS = 3
STALE_S_MIN = 0.25
"""Stale: no readable frame for `STALE_PERIODS` frame periods, or for this long if that is longer,
so that a busy host does not cry wolf."""

SILENT_S = 10.0
"""After so long without a readable frame the connection is given up, and opened anew where allowed:
a hung USB adapter recovers only so."""

HELLO_WAIT_S = 15.0
"""Firmware repeats its hello every second; a fitter who waits longer has a fault to look for."""

LINK_COUNTS = ("connections", "stale_spells")


class Connection(Protocol):
    """A byte stream. read: up to `limit` bytes; None: nothing came within the stream's own wait;
    b"": it has ended. Raises OSError where the device went away."""

    def read(self, limit: int, /) -> bytes | None: ...


class Port(Connection, Protocol):
    """A connection that can be closed; closing twice does no harm."""

    def close(self) -> None: ...


class LinkDown(OSError):
    """The port or the line is at fault: the hardware's, or the installer's who named it."""


class FirmwareRefused(ValueError):
    """The firmware says something that this program cannot read: the peer's fault."""


@dataclass(frozen=True, slots=True)
class LinkHealth:
    """alive: samples come. reason: why not, in a fitter's words; "" while alive."""

    alive: bool
    reason: str
    counters: dict[str, int]


@dataclass(frozen=True, slots=True)
class Link:
    """All that is known of a link. heard_s: monotonic time of the last readable frame [s]."""

    where: str
    heard_s: float
    deframer: Deframer = field(default_factory=Deframer)
    reception: Reception = field(default_factory=Reception)
    stale: bool = False
    down: str = "no frame yet"
    counts: dict[str, int] = field(default_factory=lambda: dict.fromkeys(LINK_COUNTS, 0))

    @property
    def stale_after_s(self) -> float:
        hello = self.reception.hello
        return max(STALE_S_MIN, STALE_PERIODS * hello.frame_s) if hello else SILENT_S / 2


def advance(link: Link, chunk: bytes, now_s: float) -> tuple[Link, tuple[SourceItem, ...]]:
    """The pure step: what `chunk` (b"" where nothing came) and the passing of time say."""
    deframer, bodies = framing.step(link.deframer, chunk)
    received, items = reception.step(link.reception, bodies, now_s)
    link = replace(link, deframer=deframer, reception=received)
    if received.ended:
        return replace(link, down=received.ended), items
    if bodies:
        waiting = "no hello yet" if received.hello is None else ""
        return replace(link, heard_s=now_s, stale=False, down=waiting), items
    quiet_s = now_s - link.heard_s
    if quiet_s > SILENT_S:
        end = StreamEnd(received.counter_end or 0, _silence(link))
        return _over(link, end.reason), (*items, end)
    if quiet_s > link.stale_after_s and not link.stale:
        counts = {**link.counts, "stale_spells": link.counts["stale_spells"] + 1}
        link = replace(link, stale=True, down=_silence(link), counts=counts)
    return link, items


def _over(link: Link, reason: str) -> Link:
    """The connection has ended; what is known of the stream is kept for the next one."""
    return replace(link, down=reason, reception=replace(link.reception, ended=reason))


def _silence(link: Link) -> str:
    refused = sum(n for name, n in link.deframer.counts.items() if name.startswith("refused"))
    if refused and "frames" not in link.deframer.counts:
        return (
            f"{link.where} sends what cannot be read; check the baud rate and that it is the unit"
        )
    return f"{link.where} is silent; check the sensor unit's supply and its data lead"


def reconnected(link: Link, now_s: float) -> Link:
    """The same stream over a new connection; samples of a known boot are taken at once."""
    counts = {**link.counts, "connections": link.counts["connections"] + 1}
    deframer = Deframer(counts=link.deframer.counts)
    received = replace(link.reception, ended=link.reception.ended if link.reception.final else "")
    return replace(link, heard_s=now_s, deframer=deframer, reception=received, counts=counts)


def health_of(link: Link) -> LinkHealth:
    names = (*framing.FRAMING_COUNTS, *reception.RECEPTION_COUNTS, *LINK_COUNTS)
    counted = {**link.deframer.counts, **link.reception.counts, **link.counts}
    reason = link.down or ("" if not link.stale else "stale")
    if reason and link.reception.hello is None and link.reception.refusal:
        reason = f"{reason}; last refused: {link.reception.refusal}"
    return LinkHealth(not reason, reason, {name: counted.get(name, 0) for name in names})


class LinkSource:
    """Items of one connection; the last is a StreamEnd (none if `stopped` said so).

    now_s: the host's monotonic clock. stopped: asked at every turn. For one thread, but `health`
    may be read from any.
    """

    def __init__(
        self,
        connection: Connection,
        where: str,
        now_s: Callable[[], float],
        stopped: Callable[[], bool] = lambda: False,
        link: Link | None = None,
    ) -> None:
        self._connection, self._now_s, self._stopped = connection, now_s, stopped
        self.link = reconnected(link or Link(where, now_s()), now_s())
        self._early: list[SourceItem] = []

    def describe(self, wait_s: float = HELLO_WAIT_S) -> SignalDescription:
        """What the firmware says of its signals; waits for its hello.

        Raises LinkDown where none comes, FirmwareRefused where it cannot be read.
        """
        until_s = self._now_s() + wait_s
        while (hello := self.link.reception.hello) is None:
            received = self.link.reception
            if received.refusal:
                raise FirmwareRefused(f"{self.link.where}: {received.refusal}")
            if received.ended or self._now_s() > until_s or self._stopped():
                raise LinkDown(health_of(self.link).reason or f"{self.link.where}: no hello")
            self._early.extend(self._turn())
        return hello.description

    def health(self) -> LinkHealth:
        return health_of(self.link)

    def __iter__(self) -> Iterator[SourceItem]:
        while not self._stopped():
            early, self._early = self._early, []
            yield from early
            if self.link.reception.ended:
                return
            yield from self._turn()

    def _turn(self) -> tuple[SourceItem, ...]:
        where = self.link.where
        try:
            chunk = self._connection.read(READ_BYTES_MAX)
        except OSError as fault:
            said = f" ({fault.strerror})" if fault.strerror else ""
            return self._end(f"{where} went away; check the USB lead{said}")
        if chunk == b"":
            return self._end(
                f"{where} has ended; check the lead, or whether its sender was stopped"
            )
        self.link, items = advance(self.link, chunk or b"", self._now_s())
        return items

    def _end(self, reason: str) -> tuple[SourceItem, ...]:
        self.link = _over(self.link, reason)
        return (StreamEnd(self.link.reception.counter_end or 0, reason),)
