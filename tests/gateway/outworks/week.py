"""Simulated time over a console that speaks to others: rows, alarms, people, pages, streams."""

from __future__ import annotations

import gc
import queue
import tracemalloc
from pathlib import Path

from edge.quantities import State
from edge.records import Condition, Stream
from gateway.notices.planning import Planned
from gateway.outward_settings import Outstation
from gateway.settings import Site, Unit
from tests.gateway.build import MINUTE_US, START_US, condition, epoch_start, health, weather
from tests.gateway.build import interval as row_of
from tests.gateway.notices.receiving import WebHook
from tests.gateway.outstation.master import Master
from tests.gateway.outworks.house import OutwardHouse, recipients
from tests.gateway.outworks.running import asked_until

NAMES = tuple(f"B{number}-{phase}" for number in (1, 2, 3, 4) for phase in "RST")
SITE, UNIT = "ternholm", "ternholm.m1"
REGISTER = {SITE: Site(title="Ternholm", units={"m1": Unit(insulators=NAMES)})}
PAGES = (
    "/", "/alarms", "/tasks", "/units", f"/sites/{SITE}", f"/sites/{SITE}/insulators/B1-R",
    "/notices", "/outstation", "/journal?days=1",
)  # fmt: skip

DAY_MIN = 24 * 60


class Weeks:
    """A house that lives on in steps. step_min: minutes from one to the next; each brings as many
    rows of each insulator as `rows`. A storm a day, over after a quarter of it."""

    def __init__(self, folder: Path, hook: WebHook, step_min: int, rows: int) -> None:
        self.house = OutwardHouse(
            folder,
            register=REGISTER,
            notices=recipients(hook.port),
            outstation=Outstation(port=0),
        )
        self.hook, self.step_min, self.rows = hook, step_min, rows
        self.day = DAY_MIN // step_min
        self.storm = max(1, self.day // 4)
        outstation, notices = self.house.outworks.outstation, self.house.outworks.notices
        assert outstation is not None and notices is not None
        self.outstation, self.notices = outstation, notices
        self.master = Master(outstation.server.port).await_open()
        self.client = self.house.client()
        self.last_id = ""
        self.steps = 0
        self.house.commit(epoch_start(), unit=UNIT)
        for path in PAGES:
            assert self.client.get(path).status_code == 200

    def close(self) -> None:
        self.client.close()
        self.master.close()
        self.house.close()

    def live(self, steps: int) -> None:
        """On and on."""
        for _ in range(steps):
            self._step()
            self.steps += 1

    def _step(self) -> None:
        minute, phase = self.steps * self.step_min + self.rows, self.steps % self.day
        house = self.house
        house.now_us = START_US + (minute + 1) * MINUTE_US
        wet = phase < self.storm
        rows = [
            row_of(
                minute - back,
                name,
                state=State.ARCING_DENSE if wet else State.DRY,
                peak_ua=150_000 + 100 * self.steps if wet else 300 + place,
                arcing_peak_ua=150_000 if wet else 0,
                arcing_halfcycles=700 if wet else 0,
                flags=(),
            )
            for back in range(self.rows - 1, -1, -1)
            for place, name in enumerate(NAMES)
        ]
        house.commit(*rows, stream=Stream.INTERVAL, unit=UNIT)
        house.commit(weather(minute), stream=Stream.WEATHER, unit=UNIT)
        house.commit(health(minute), stream=Stream.HEALTH, unit=UNIT)
        if phase in (0, self.storm):
            said = Condition.IN if phase == 0 else Condition.OUT
            changes = [condition(minute, said, "arcing", name) for name in NAMES[:6]]
            house.commit(*changes, unit=UNIT)
        house.tick()
        self._look()

    def _look(self) -> None:
        """A person acknowledges what stands, a display looks, and its stream is cut and resumed."""
        path = PAGES[self.steps % len(PAGES)]
        part = self.client.get(path, headers={"x-seafret-part": "1"})
        assert part.status_code == 200, part.text
        if self.steps % self.day in (1, self.storm + 1):
            told = self.client.get("/api/1/alarms").json()["alarms"]
            for one in told:
                if "acknowledge" in one["may"]:
                    ask = {"ids": [one["id"]], "by": "mk"}
                    self.client.post("/api/1/alarms/acknowledge", json=ask)
        if self.steps % 3 == 0:
            self._reconnect()

    def _reconnect(self) -> None:
        headers = {"last-event-id": self.last_id} if self.last_id else {}
        with self.client.stream("GET", "/stream", headers=headers) as stream:
            assert stream.status_code == 200
            for line in stream.iter_lines():
                if line.startswith("id: "):
                    self.last_id = line[4:]
                    return
        raise AssertionError("the stream said nothing")

    def settled(self) -> Planned:
        """When every notice was taken and every event confirmed (a question of the master brings
        the confirmation along, which would else come after ten seconds); what was heard is let
        go."""
        asked_until(lambda: self.notices.planned.waiting, lambda waiting: not waiting)
        assert self.master.connection.interrogation(common_address=1)
        asked_until(lambda: self.outstation.server.station.events, lambda events: not events)
        asked_until(lambda: self.house.feed.readers, lambda readers: readers == 0)
        for heard in (self.hook.posts, self.master.told):
            emptied(heard)
        return self.notices.planned

    def held_bytes(self) -> int:
        """What Python's objects hold now, of those made since tracing began."""
        self.settled()
        gc.collect()
        return tracemalloc.get_traced_memory()[0]


def emptied(heard: queue.SimpleQueue[object]) -> None:
    """Whatever is in it."""
    while not heard.empty():
        heard.get()


def resident_bytes() -> int:
    """Memory of this process, as the system counts it."""
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    return pages * 4096
