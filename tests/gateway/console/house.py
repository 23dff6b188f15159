"""A console that serves over a real history, without a broker: commits are handed to it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import httpx

from edge.records import Record, Stream
from gateway.accounts.register import Register
from gateway.accounts.roles import Role
from gateway.accounts.signing_in import Door
from gateway.accounts.store import AccountsFile
from gateway.alarms.journal import Entry
from gateway.console.app import create_app
from gateway.console.desk import AlarmDesk, Around
from gateway.console.entering import OPEN_ENTRANCE, Entrance
from gateway.console.feed import Feed
from gateway.console.rooms import Room
from gateway.console.serving import ApiServer
from gateway.console.sources import Sources, Standing
from gateway.console.summary import Summary, fold
from gateway.history.sqlite_store import SqliteHistory
from gateway.history.store import Commit, SiteWriter
from gateway.settings import Console, Site, Unit
from tests.broker import free_port
from tests.gateway.accounts.build import PASSWORD
from tests.gateway.build import MINUTE_US, START_US, UNIT, commit, key

SITE = "north-head"
REGISTER = {
    SITE: Site(title="North Head", call="x4411", units={"m1": Unit(insulators=("A1", "B2"))})
}


@dataclass
class House:
    """One site's history, its alarm desk and a console that serves it. now_us: moved by tests."""

    folder: Path
    register: dict[str, Site] = field(default_factory=lambda: dict(REGISTER))
    accounts: bool = False
    console: dict[str, Any] = field(default_factory=dict)
    rooms: tuple[Room, ...] = ()
    rate: float = 1e-9
    now_us: int = START_US + 3 * MINUTE_US
    clock_us: int = START_US
    summary: Summary = field(default_factory=Summary)
    connected: bool = True
    deaf: bool = False

    def __post_init__(self) -> None:
        self.feed = Feed()
        self.history = SqliteHistory(self.folder)
        self.writers: dict[str, SiteWriter] = {
            site: self.history.writer(site) for site in self.register
        }
        self.numbers: dict[tuple[str, Stream], int] = {}
        self.desk = AlarmDesk(self._around())
        console = Console(port=free_port(), time_zone="Europe/Oslo", **self.console)
        self.entrance = self._entrance()
        self.app = create_app(self._sources(), console, self.entrance, self._rooms())
        self.server = ApiServer(self.app, console, self.feed)
        self.server.start()
        self.address = self.server.address

    def close(self) -> None:
        """Ends the server and the files."""
        self.server.stop()
        self.entrance.close()
        for writer in self.writers.values():
            writer.close()

    def _rooms(self) -> tuple[Room, ...]:
        """What a test's own house may add to."""
        return self.rooms

    def _on_entries(self, site: str, entries: Sequence[Entry]) -> None:
        self.feed.touch([f"site:{site}", "alarms"])

    def _committed(self, site: str, made: Commit) -> None:
        """As well."""

    def _entrance(self) -> Entrance:
        if not self.accounts:
            return OPEN_ENTRANCE
        self.accounts_us = START_US
        return Entrance(Door(Register(AccountsFile(self.folder), lambda: self.accounts_us)))

    def _around(self) -> Around:
        return Around(
            history=self.history,
            writer=self.writers.__getitem__,
            register=self.register,
            summary=lambda: self.summary,
            now_us=lambda: self.now_us,
            deaf=lambda: self.deaf,
            stale_after_us=3 * MINUTE_US,
            on_entries=self._on_entries,
        )

    def _sources(self) -> Sources:
        return Sources(
            summary=lambda: self.summary,
            standing=lambda: Standing(self.connected, ""),
            now_us=lambda: self.now_us,
            history=self.history,
            register=self.register,
            stale_after_us=3 * MINUTE_US,
            desk=lambda: self.desk,
            feed=self.feed,
            data=self.folder,
            rate=self.rate,
        )

    def commit(self, *records: Record, stream: Stream = Stream.ALARM, unit: str = UNIT) -> None:
        """As the ingest does: durable first, then everybody is told."""
        site = unit.partition(".")[0]
        before = self.numbers.get((unit, stream), 0)
        made = commit(before + 1, records, key(stream, unit))
        made = Commit(self.now_us, made.entries, made.marks)
        self.writers[site].append(made)
        self.numbers[unit, stream] = before + len(records)
        self.summary = fold(self.summary, site, made)
        self.desk.on_commit(site, made)
        self._committed(site, made)
        self.feed.touch([f"site:{site}"])

    def tick(self, minutes: float = 0.0) -> None:
        """Time goes on."""
        self.now_us += round(minutes * MINUTE_US)
        self.desk.tick()
        self.feed.touch([f"site:{site}" for site in self.register])

    def account(self, name: str, role: Role) -> None:
        """One more person, with the tests' password."""
        assert self.entrance.door is not None
        self.entrance.door.register.add(name, role, PASSWORD, "test")

    def client(self, name: str = "", **how: Any) -> httpx.Client:
        """A browser's or script's connection, signed in where a name is given."""
        client = httpx.Client(base_url=self.address, trust_env=False, timeout=20, **how)
        if name:
            form = {"name": name, "password": PASSWORD}
            answer = client.post("/sign-in", data=form)
            assert answer.status_code == 303, answer.text
        return client

    def form_key(self, client: httpx.Client) -> str:
        """What this session's forms bring along."""
        assert self.entrance.door is not None
        caller = self.entrance.door.by_session(client.cookies["seafret"])
        assert caller is not None
        return caller.csrf
