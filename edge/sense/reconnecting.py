"""The firmware link for as long as the daemon runs: a port that comes and goes."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

from edge.samples import SignalDescription, SourceItem, StreamEnd
from edge.sense.link import (
    HELLO_WAIT_S,
    FirmwareRefused,
    Link,
    LinkDown,
    LinkHealth,
    LinkSource,
    Port,
    health_of,
)

REOPEN_PAUSE_S = 1.0
"""Between two tries to open the port; a USB device takes about as long to appear."""


class ReconnectingLink:
    """Items of a port, under counters that never fall.

    A StreamEnd says that the signal has stopped, and why; more items follow once it is back. The
    iterator ends for good when `stopped` says so, or after a StreamEnd where the firmware speaks
    another protocol or describes other signals: only a restart of the program can take those.
    open_port: raises LinkDown where it cannot. now_s: the host's monotonic clock. pause_s: waits so
    many seconds, less when stopping. For one thread, but `health` may be read from any.
    """

    def __init__(
        self,
        where: str,
        open_port: Callable[[], Port],
        now_s: Callable[[], float],
        pause_s: Callable[[float], object],
        stopped: Callable[[], bool] = lambda: False,
    ) -> None:
        self._open_port, self._now_s, self._pause_s = open_port, now_s, pause_s
        self._stopped = stopped
        self._link = Link(where, now_s())
        self._open: tuple[Port, LinkSource] | None = None

    def describe(self, wait_s: float = HELLO_WAIT_S) -> SignalDescription:
        """What the firmware says of its signals; waits for the port and its hello.

        Raises LinkDown or FirmwareRefused with what to do; the port is closed then.
        """
        until_s = self._now_s() + wait_s
        while True:
            try:
                return self._connected().describe(until_s - self._now_s())
            except (LinkDown, FirmwareRefused) as fault:
                self.close()
                late = self._stopped() or self._now_s() + REOPEN_PAUSE_S > until_s
                if late or isinstance(fault, FirmwareRefused):
                    raise
            self._pause_s(REOPEN_PAUSE_S)

    def health(self) -> LinkHealth:
        """May be called from any thread."""
        return health_of(self._known())

    def firmware(self) -> str:
        """As the sensor unit names it; "" before its hello. May be called from any thread."""
        hello = self._known().reception.hello
        return "" if hello is None else hello.firmware

    def _known(self) -> Link:
        opened = self._open
        return opened[1].link if opened is not None else self._link

    def close(self) -> None:
        """Closes the port; what is known of the stream is kept for the next one."""
        if self._open is not None:
            (port, source), self._open = self._open, None
            self._link = source.link
            port.close()

    def __iter__(self) -> Iterator[SourceItem]:
        told = False  # the stop of the signal has been told; silence after it is no news
        while not self._stopped():
            for item in self._connection_items():
                ends = isinstance(item, StreamEnd)
                if not (ends and told) or self._known().reception.final:
                    yield item
                told = ends
            if self._link.reception.final:
                return
            if not self._stopped():
                self._pause_s(REOPEN_PAUSE_S)

    def _connection_items(self) -> Iterator[SourceItem]:
        try:
            yield from self._connected()
        except LinkDown as fault:
            self._link = replace(self._link, down=str(fault))
        finally:
            self.close()

    def _connected(self) -> LinkSource:
        if self._open is None:
            port = self._open_port()
            link = self._link
            self._open = (port, LinkSource(port, link.where, self._now_s, self._stopped, link))
        return self._open[1]
