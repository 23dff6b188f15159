"""All processes of a demo on this machine: begun in order, kept going, ended in order."""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from pathlib import Path

from edge.sense.virtual_site import SITES, SitePlan
from gateway.demo.files import (
    LOOPBACK,
    Layout,
    make_folders,
    write_broker,
    write_gateway,
    write_poles,
)
from gateway.demo.invented import unit_of
from gateway.demo.night import LEAD_S, Night, NightClock, clock_of
from gateway.demo.processes import Process, ProcessFault, answers, free_port, python

PORT_TRIES = 4
"""Another program can take a port between our finding it and our using it: try others."""

RESTARTS_MAX = 3
"""A gateway that ends by itself oftener ends the demo."""

GATEWAY_READY = "gateway ready at"


class Machine:
    """Broker, gateway and an edge daemon for each site, over one folder. Made and used by the main
    thread; `stop` must be called whatever happened."""

    def __init__(self, folder: Path, night: Night) -> None:
        self.layout, self.night = Layout(folder), night
        self.clock: NightClock
        self.ports: dict[str, int] = {}
        self.gateway: Process
        self.broker: Process
        self.poles: dict[str, Process] = {}
        self.restarts = 0
        self.killed = 0

    @property
    def address(self) -> str:
        """Of the gateway's console and API."""
        return f"http://{LOOPBACK}:{self.ports['gateway']}"

    @property
    def processes(self) -> list[Process]:
        """Those that were started."""
        found = [getattr(self, name, None) for name in ("broker", "gateway")]
        return [one for one in (*found, *self.poles.values()) if one is not None]

    def start(self) -> None:
        """Returns when everything is ready. Raises ProcessFault."""
        self.clock = clock_of(self.night, LEAD_S)
        make_folders(self.layout)
        self._on_a_free_port("broker", self._start_broker)
        write_poles(self.layout, self.night, self.clock, self.ports["broker"])
        for plan in SITES:
            self.poles[plan.name] = self._process(f"edge {plan.name}", self._edge(plan))
            self.poles[plan.name].start()
        self._on_a_free_port("gateway", self._start_gateway)
        for plan in SITES:
            self.poles[plan.name].await_words(f"{unit_of(plan)} runs")

    def _on_a_free_port(self, name: str, start: Callable[[], None]) -> None:
        for _ in range(PORT_TRIES - 1):
            self.ports[name] = free_port()
            with contextlib.suppress(ProcessFault):
                start()
                return
        self.ports[name] = free_port()
        start()

    def _start_broker(self) -> None:
        write_broker(self.layout, self.ports["broker"])
        words = ("iotcore", "--log-level", "CRITICAL", "--config", str(self.layout.broker))
        self.broker = self._process("broker", python(*words))
        self.broker.start()
        self.broker.await_ready(lambda: answers(self.ports["broker"]))

    def _start_gateway(self) -> None:
        write_gateway(self.layout, self.clock, self.ports)
        words = ("gateway", "serve", "--settings", str(self.layout.gateway))
        self.gateway = self._process("gateway", python(*words))
        self.gateway.start()
        self.gateway.await_words(GATEWAY_READY)

    def _process(self, name: str, words: list[str]) -> Process:
        log = self.layout.logs / f"{name.replace(' ', '-')}.log"
        return Process(name, words, self.layout.top, log)

    def _edge(self, plan: SitePlan) -> list[str]:
        signal_s = self.night.minutes * 60
        return python(
            *("edge", "run", "--settings", str(self.layout.pole(plan))),
            *("--clock", str(self.layout.clock), "--signal-seconds", str(signal_s)),
        )

    def kill_gateway(self) -> None:
        """What a test, or a person who doubts, does to it midway."""
        self.killed += 1
        self.gateway.kill()
        self.gateway.await_end()

    def look(self) -> bool:
        """Measures everybody; starts a gateway that is gone. True where it had to be started.

        Raises ProcessFault where something ended that should run.
        """
        for process in self.processes:
            process.measure()
        for pole in self.poles.values():
            if pole.code not in (None, 0):
                raise ProcessFault(pole.last_words())
        if self.broker.code is not None:
            raise ProcessFault(self.broker.last_words())
        if self.gateway.code is None:
            return False
        if self.restarts >= RESTARTS_MAX:
            raise ProcessFault(self.gateway.last_words())
        self.restarts += 1
        self.gateway.start()
        return True

    @property
    def poles_are_done(self) -> bool:
        """Whether every edge daemon has played its night and has a receipt for all of it."""
        return all(pole.code == 0 for pole in self.poles.values())

    def stop(self) -> None:
        """Ends everybody, in the order of the data; safe to call at any time, and again."""
        named = {one.name: one for one in self.processes}
        order = [*self.poles.values(), named.get("gateway"), named.get("broker")]
        for group in (order[:-2], order[-2:-1], order[-1:]):
            for process in group:
                if process is not None:
                    process.ask_to_end()
            for process in group:
                if process is not None:
                    process.await_end()
