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
from collections.abc import Iterable
from contextlib import suppress

from gateway.outstation import answering, session, station
from gateway.outstation.asdu import Reading
from gateway.outstation.frames import PeerFault, frame_bytes, read_frame
from gateway.outstation.session import (
    Asked,
    Came,
    Confirmed,
    End,
    Offer,
    Send,
    Session,
    Started,
    Tick,
)
from gateway.outstation.station import Station
from gateway.outstation.tls import ListenFault, tls_of
from gateway.outward_settings import Outstation

log = logging.getLogger("seafret.outstation")

TURN_S = 0.5
"""The session's times are looked at this often."""

READ_BYTES = 4096
AHEAD_EVENTS = 256
"""So many events at most are taken out of the station at once."""

CONNECTIONS_MAX = 8
"""More are closed at once: masters and their stand-bys are few."""

START_S = 15.0


class Server:
    """From `start` to `stop`. `tell` and the figures may be asked from any thread."""

    def __init__(self, settings: Outstation, kept: Station) -> None:
        """Raises ListenFault where the TLS files cannot be used."""
        self._settings = settings
        self._station = kept
        self._tls = tls_of(settings)
        self._links: set[_Link] = set()
        self.data_link: _Link | None = None
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
        peer = str(writer.get_extra_info("peername", ("?",))[0])
        allowed = not self._settings.masters or peer in self._settings.masters
        if not allowed or len(self._links) >= CONNECTIONS_MAX:
            why = "it is not among the masters" if not allowed else "there are too many connections"
            log.warning("outstation: %s is turned away: %s", peer, why)
            writer.close()
            return
        link = _Link(self, reader, writer, peer)
        self._links.add(link)
        log.info("outstation: master %s has connected", peer)
        try:
            await link.run()
        finally:
            self._links.discard(link)
            if self.data_link is link:
                self.data_link = None

    def _observe(self, readings: tuple[tuple[int, Reading], ...]) -> None:
        self._station = station.observed(self._station, readings)
        if self.data_link is not None:
            self.data_link.pump()

    # What a link asks of its server, in the loop's thread.

    @property
    def common_address(self) -> int:
        return self._settings.common_address

    def takes_over(self, link: _Link) -> bool:
        """Whether a master that wants data gets it."""
        before = self.data_link
        if before is not None and before is not link and before.started:
            if before.peer != link.peer:
                return False
            before.end("the same master has connected anew")
        self.data_link = link
        return True

    def confirm(self, event: int) -> None:
        self._station = station.confirmed(self._station, event)

    def forgive(self) -> None:
        self._station = station.forgiven(self._station)


class _Link:
    """One connection. pulled: newest event that was handed to the session."""

    def __init__(
        self,
        server: Server,
        reader: asyncio.StreamReader,
        writer: asyncio.StreamWriter,
        peer: str,
    ) -> None:
        self._server, self._reader, self._writer, self.peer = server, reader, writer, peer
        self._session = Session(self._now_s())
        self._pulled = 0
        self._why = ""
        self.over = asyncio.Event()

    def _now_s(self) -> float:
        return asyncio.get_running_loop().time()

    @property
    def started(self) -> bool:
        """Whether data goes to this master."""
        return self._session.started and not self._why

    async def run(self) -> None:
        """Until either side ends it."""
        ticking = asyncio.create_task(self._tick())
        try:
            await self._read()
        except (PeerFault, OSError) as fault:
            self._why = self._why or str(fault)
        finally:
            ticking.cancel()
            log.info("outstation: master %s is gone: %s", self.peer, self._why or "it hung up")
            self._writer.close()
            with suppress(OSError):
                await self._writer.wait_closed()
            self.over.set()

    async def _tick(self) -> None:
        while True:
            await asyncio.sleep(TURN_S)
            self._step(Tick())

    async def _read(self) -> None:
        octets = b""
        while not self._why:
            came = await self._reader.read(READ_BYTES)
            if not came:
                return
            octets += came
            while not self._why and (found := read_frame(octets)) is not None:
                frame, length = found
                octets = octets[length:]
                self._step(Came(frame))
                await self._writer.drain()

    def end(self, why: str) -> None:
        """Ends the connection; what was not confirmed waits for the next one."""
        self._why = self._why or why
        self._writer.transport.abort()

    def pump(self) -> None:
        """Hands the session events while it has room."""
        while self._session.has_room and not self._why:
            events = self._server.station.after(self._pulled, AHEAD_EVENTS)
            if not events:
                return
            self._pulled = events[-1].number
            units = answering.spontaneous(events, self._server.common_address)
            self._apply(Offer(units))

    def _step(self, given: session.Given) -> None:
        self._apply(given)
        if self._session.started:
            self.pump()

    def _apply(self, given: session.Given) -> None:
        if self._why:
            return
        self._session, deeds = session.step(self._session, given, self._now_s())
        for deed in deeds:
            match deed:
                case Send(frame):
                    self._writer.write(frame_bytes(frame))
                case Confirmed(event):
                    self._server.confirm(event)
                case Started():
                    self._begin()
                case Asked(asdu):
                    self._answer(asdu)
                case End(why):
                    self.end(why)

    def _begin(self) -> None:
        """From what no master has confirmed on; what is still in flight here is not sent twice."""
        kept = self._server.station
        base = kept.events[0].number - 1 if kept.events else kept.numbers
        self._pulled = max([base, *(one.event for one in self._session.flights)])
        if not self._server.takes_over(self):
            self.end("another master has the data transfer")

    def _answer(self, asdu: bytes) -> None:
        """Behind every event that is there already, so that no old one follows the answer."""
        kept = self._server.station
        units = answering.answered(kept, self._server.common_address, asdu)
        while self._session.started and (events := kept.after(self._pulled, AHEAD_EVENTS)):
            self._pulled = events[-1].number
            self._apply(Offer(answering.spontaneous(events, self._server.common_address)))
        self._apply(Offer(units))
        if answering.is_interrogation(asdu):
            self._server.forgive()
