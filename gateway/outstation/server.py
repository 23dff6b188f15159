"""The outstation's listener: connections of masters around the pure session, in one thread.

One master at a time gets data, and keeps it until it stops or falls silent; so two that both want
it do not take it from each other in turns. A connection from the same address takes over at once:
it is the same master, back before its old connection was found dead. Events wait in the station
until a master has confirmed them.
"""

from __future__ import annotations

import asyncio
import logging
import threading
from collections import deque
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from gateway.outstation import station
from gateway.outstation.asdu import Reading
from gateway.outstation.link import Link, peer_of
from gateway.outstation.station import Station
from gateway.outstation.tls import ListenFault, tls_of
from gateway.outward_settings import Outstation

log = logging.getLogger("seafret.outstation")

CONNECTIONS_MAX = 8
"""More are closed at once: masters and their stand-bys are few."""

START_S = 15.0

VISITS_MAX = 20
"""So many ended or refused connections are remembered, since the start of the gateway."""


@dataclass(frozen=True, slots=True)
class MasterTold:
    """An open connection. subject: of its certificate, "" without TLS. data: it gets events.
    unconfirmed: frames on their way."""

    address: str
    subject: str
    since_us: int
    data: bool
    unconfirmed: int


@dataclass(frozen=True, slots=True)
class Visit:
    """A connection that is over. from_us: 0 where it was turned away."""

    address: str
    subject: str
    from_us: int
    until_us: int
    why: str


class Server:
    """From `start` to `stop`. `tell` and the figures may be asked from any thread."""

    def __init__(
        self,
        settings: Outstation,
        kept: Station,
        now_us: Callable[[], int] = lambda: 0,
        changed: Callable[[], None] = lambda: None,
    ) -> None:
        """changed: told when a master comes or goes. Raises ListenFault where the TLS files cannot
        be used."""
        self._settings, self._now_us, self._changed = settings, now_us, changed
        self._visits: deque[Visit] = deque(maxlen=VISITS_MAX)
        self._station = kept
        self._tls = tls_of(settings)
        self._links: set[Link] = set()
        self.data_link: Link | None = None
        self._loop = asyncio.new_event_loop()
        self._up = threading.Event()
        self._fault: OSError | None = None
        self._asked_to_stop: asyncio.Event | None = None
        self._thread = threading.Thread(target=self._run, name="outstation", daemon=True)
        self.port = 0
        self.failure: BaseException | None = None

    def start(self) -> None:
        """Returns when it listens. Raises ListenFault."""
        self._thread.start()
        if not self._up.wait(START_S) or self._fault is not None:
            where = f"outstation {self._settings.host}:{self._settings.port}"
            raise ListenFault(
                f"{where}: {self._fault or 'did not come up'}; give another port in [outstation], "
                "or stop what listens there"
            )

    def stop(self) -> None:
        """Ends every connection."""
        if self._thread.ident is None:
            self._loop.close()
        elif self._thread.is_alive():
            self._loop.call_soon_threadsafe(self._stop_soon)
            self._thread.join()

    def _stop_soon(self) -> None:
        assert self._asked_to_stop is not None
        self._asked_to_stop.set()

    def tell(self, readings: Iterable[tuple[int, Reading]]) -> None:
        """What points say now, in order; from any thread."""
        found = tuple(readings)
        if found:
            self._loop.call_soon_threadsafe(self._observe, found)

    @property
    def station(self) -> Station:
        """As it is now."""
        return self._station

    @property
    def masters(self) -> int:
        """Open connections."""
        return len(self._links)

    def masters_told(self) -> list[MasterTold]:
        """Open connections, the one with the data first; from any thread."""
        found = [
            MasterTold(
                one.peer,
                one.subject,
                one.since_us,
                one is self.data_link and one.started,
                one.unconfirmed,
            )
            for one in tuple(self._links)
        ]
        return sorted(found, key=lambda one: (not one.data, one.since_us, one.address))

    def visits(self) -> list[Visit]:
        """Connections that are over, the newest first; from any thread."""
        return list(reversed(tuple(self._visits)))

    def _run(self) -> None:
        asyncio.set_event_loop(self._loop)
        try:
            self._loop.run_until_complete(self._serve())
        except BaseException as fault:
            self.failure = fault
            raise
        finally:
            self._loop.close()

    async def _serve(self) -> None:
        self._asked_to_stop = asyncio.Event()
        try:
            server = await asyncio.start_server(
                self._accept, self._settings.host, self._settings.port, ssl=self._tls
            )
        except OSError as fault:
            self._fault = fault
            self._up.set()
            return
        self.port = server.sockets[0].getsockname()[1]
        self._up.set()
        await self._asked_to_stop.wait()
        server.close()
        for link in tuple(self._links):
            link.end("the gateway stops")
        await asyncio.gather(*(link.over.wait() for link in tuple(self._links)))

    async def _accept(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        peer, now_us = peer_of(writer), self._now_us()
        allowed = not self._settings.masters or peer in self._settings.masters
        if not allowed or len(self._links) >= CONNECTIONS_MAX:
            why = "it is not among the masters" if not allowed else "there are too many connections"
            log.warning("outstation: %s is turned away: %s", peer, why)
            writer.close()
            self._visits.append(Visit(peer, "", 0, now_us, f"turned away: {why}"))
            self._changed()
            return
        link = Link(self, reader, writer, now_us)
        self._links.add(link)
        log.info("outstation: master %s has connected", peer)
        self._changed()
        try:
            await link.run()
        finally:
            self._links.discard(link)
            if self.data_link is link:
                self.data_link = None
            self._visits.append(Visit(peer, link.subject, link.since_us, self._now_us(), link.why))
            self._changed()

    def _observe(self, readings: tuple[tuple[int, Reading], ...]) -> None:
        self._station = station.observed(self._station, readings)
        if self.data_link is not None:
            self.data_link.pump()

    # What a link asks of its server, in the loop's thread.

    @property
    def common_address(self) -> int:
        return self._settings.common_address

    def takes_over(self, link: Link) -> bool:
        """Whether a master that wants data gets it."""
        before = self.data_link
        if before is not None and before is not link and before.started:
            if before.peer != link.peer:
                return False
            before.end("the same master has connected anew")
        self.data_link = link
        self._changed()
        return True

    def confirm(self, event: int) -> None:
        self._station = station.confirmed(self._station, event)

    def forgive(self) -> None:
        self._station = station.forgiven(self._station)
