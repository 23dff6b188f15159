"""One connection of a master around the pure session, in the listener's loop."""

from __future__ import annotations

import asyncio
import logging
from contextlib import suppress
from typing import Protocol

from gateway.outstation import answering, session
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

log = logging.getLogger("seafret.outstation")

TURN_S = 0.5
"""The session's times are looked at this often."""

READ_BYTES = 4096
AHEAD_EVENTS = 256
"""So many events at most are taken out of the station at once."""


class Serving(Protocol):
    """What a link asks of its server, in the loop's thread."""

    @property
    def station(self) -> Station: ...

    @property
    def common_address(self) -> int: ...

    def takes_over(self, link: Link) -> bool:
        """Whether a master that wants data gets it."""

    def confirm(self, event: int) -> None:
        """A master has all events up to this one."""

    def forgive(self) -> None:
        """A master has interrogated."""


class Link:
    """One connection. peer: its address. subject: of its certificate, "" without TLS. since_us:
    when it was taken. pulled: newest event that was handed to the session."""

    def __init__(
        self,
        server: Serving,
        reader: asyncio.StreamReader,
        writer: asyncio.StreamWriter,
        since_us: int,
    ) -> None:
        self._server, self._reader, self._writer = server, reader, writer
        self.peer, self.subject, self.since_us = peer_of(writer), subject_of(writer), since_us
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

    @property
    def unconfirmed(self) -> int:
        """Frames that this master has not confirmed."""
        return len(self._session.flights)

    @property
    def why(self) -> str:
        """Why it ended, "" while it has not."""
        return self._why

    async def run(self) -> None:
        """Until either side ends it."""
        ticking = asyncio.create_task(self._tick())
        try:
            await self._read()
        except (PeerFault, OSError) as fault:
            self._why = self._why or str(fault)
        finally:
            ticking.cancel()
            self._why = self._why or "it hung up"
            log.info("outstation: master %s is gone: %s", self.peer, self._why)
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


def peer_of(writer: asyncio.StreamWriter) -> str:
    """Address of the other side."""
    return str(writer.get_extra_info("peername", ("?",))[0])


SUBJECT_MAX = 200
"""Characters of a subject that are told; a longer one is cut."""


def subject_of(writer: asyncio.StreamWriter) -> str:
    """Subject of the other side's certificate, which the authority has vouched for."""
    certificate = writer.get_extra_info("peercert") or {}
    names = [pair for group in certificate.get("subject", ()) for pair in group]
    return ", ".join(f"{name}={text}" for name, text in names)[:SUBJECT_MAX]
