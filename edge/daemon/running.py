"""The daemon put together: threads, signals, supervision, and an end in the order of the data."""

from __future__ import annotations

import logging
import os
import signal
import sys
import threading
from functools import partial
from pathlib import Path

from edge.clock import Clock, boot_id, boot_ns, read_clock, steady_ns
from edge.commissioning import standing
from edge.daemon.faults import FolderRefused, NotReceipted, ThreadSilent
from edge.daemon.feeder import Feeder
from edge.daemon.inbox import Inbox
from edge.daemon.job import Close, Connect, Job, Request
from edge.daemon.keeper import Keeper
from edge.daemon.sources import Life, Source, open_source
from edge.daemon.storing import Store, Told, nobody
from edge.daemon.supervision import Pulse, deserves_feeding, notify, silent_thread
from edge.faults import Exit
from edge.keep import DurableFile, Stamp
from edge.limits import bound
from edge.send.link import Broker, Tls
from edge.send.messages import Notice
from edge.send.uplink import Uplink
from edge.sense.link import HELLO_WAIT_S
from edge.settings import BrokerPart, Settings, SettingsError, decision_plan, measure_plan
from edge.settings import parse_settings as parse

log = logging.getLogger("seafret.edge")

FILE_NAME = "outbox.sqlite"
LOOK_S = 0.2
"""Between two looks at the threads."""

END_S_MAX = 20.0
"""A thread that does not end within this time is given up; the durable file is sound without it."""

DRAIN_S_MAX = 60.0
"""Once the signal is over for good, the gateway has this long to receipt what is left."""


def read_settings(path: Path) -> Settings:
    """The settings of a file. Raises OSError or SettingsError."""
    try:
        return parse(path.read_text(encoding="utf-8"), str(path))
    except UnicodeDecodeError as fault:
        raise SettingsError(f"{path}: {fault}; write it as UTF-8") from fault


def made_folder(settings: Settings, base: Path) -> Path:
    """The data folder, made where it is missing. Raises SettingsError, FolderRefused."""
    if settings.store is None:
        raise SettingsError("store is missing; add [store] with the folder for what is kept")
    folder = base / settings.store.folder
    try:
        folder.mkdir(parents=True, exist_ok=True)
        probe = folder / f".written-{os.getpid()}"
        probe.write_bytes(b"")
        probe.unlink()
    except OSError as fault:
        raise FolderRefused(
            f"store.folder {folder} cannot be written ({fault.strerror}); it must be a folder that "
            "the service's user owns: change its owner, or name another"
        ) from fault
    return folder


def broker_of(part: BrokerPart, base: Path) -> Broker:
    """The sender's broker; relative paths are meant from the folder `base`."""
    if part.ca is None or part.certificate is None or part.key is None:
        return Broker(part.host, part.port)
    return Broker(
        part.host, part.port, Tls(base / part.ca, base / part.certificate, base / part.key)
    )


def _certificate(settings: Settings, base: Path) -> Path | None:
    """The unit's own certificate; None where the link to the broker is plain, or there is none."""
    part = settings.broker
    return None if part is None or part.certificate is None else base / part.certificate


class Daemon:
    """One unit at work. Made, started, waited for and stopped by one thread."""

    def __init__(
        self,
        settings: Settings,
        base: Path,
        clock: Clock,
        signal_s: float | None = None,
        hello_wait_s: float = HELLO_WAIT_S,
        told: Told | None = None,
    ) -> None:
        """Opens the source and reads the plans; raises what keeps them from it.

        told: hears of every record once it is durable; `keeper.backlog` is kept fresh then.
        """
        assert settings.store is not None
        self._settings, self._base, self._clock = settings, base, clock
        self._signal_s, self._told = signal_s, told
        self.asked_to_stop = threading.Event()
        self._life = Life(self.asked_to_stop)
        self._folder = made_folder(settings, base)
        self.source = open_source(settings, base, clock, self._life, hello_wait_s)
        self._inbox: Inbox[Request] = Inbox(self.source.description.rate_hz)
        self.keeper = Keeper(self._job(self.source), self._inbox, self._open_store)
        self._feeder: Feeder | None = None
        self._uplink: Uplink | None = None
        self._seen = (0, steady_ns())

    def _job(self, source: Source) -> Job:
        rate_hz = source.description.rate_hz
        decision_plan(self._settings, rate_hz)  # refused here, before any thread runs
        return Job(
            unit=self._settings.unit.id,
            measure=measure_plan(self._settings, source.description, source.flags),
            decision=lambda sheet: bound(self._settings, sheet, rate_hz),
            source=source,
            clock=self._clock,
            has_line_input=self._settings.site.line_status_input,
            is_commissioned=standing.is_in_service(self._folder, self._settings),
            is_watched=self._told is not None,
            certificate=_certificate(self._settings, self._base),
        )

    def _open_store(self) -> Store:
        assert self._settings.store is not None
        open_file = partial(
            DurableFile,
            self._folder / FILE_NAME,
            self._settings.unit.id,
            quota_bytes=self._settings.store.quota_mb * 1_000_000,
        )
        told = nobody if self._told is None else self._told
        return Store(lambda: open_file(self._stamp()), self._stamp, steady_ns, told)

    def _stamp(self) -> Stamp:
        known = self._clock.discipline()
        return Stamp(boot_id(), known.source, boot_ns(), self._clock.utc_us())

    def start(self) -> None:
        """Returns when the durable file is open and everything runs."""
        self.keeper.start()
        if self._settings.broker is not None:
            self._uplink = self._make_uplink(self._settings.broker)
            self._uplink.start()
            self._inbox.put_request(Connect(self._uplink))
        self._feeder = Feeder(
            self.source, self._inbox, self._life, self.keeper.begin_us, self._signal_s
        )
        self._feeder.start()

    def _make_uplink(self, part: BrokerPart) -> Uplink:
        return Uplink(
            self._settings.unit.id,
            self.keeper.epoch,
            broker_of(part, self._base),
            self._inbox.put_request,
            seed=int.from_bytes(os.urandom(8), "big"),
            now_ns=steady_ns,
            now_us=lambda: self._clock.utc_us() if self._clock.discipline().synchronised else None,
        )

    def note(self, event: str, detail: dict[str, int | str]) -> None:
        """Let an event be kept and sent like any other."""
        self._inbox.put_request(Notice(event, detail=detail))

    @property
    def is_connected(self) -> bool:
        """Whether the broker holds a session with this unit now."""
        return self._uplink is not None and self._uplink.connected.is_set()

    def wait(self) -> None:
        """Until asked to stop, or the signal is over and receipted; raises what ended a thread."""
        over_ns: int | None = None
        while not self.asked_to_stop.wait(LOOK_S):
            self.look()
            if not self.keeper.over.is_set():
                continue
            over_ns = steady_ns() if over_ns is None else over_ns
            if self._uplink is None or self.keeper.backlog == 0:
                return
            if steady_ns() - over_ns > DRAIN_S_MAX * 1e9:
                raise NotReceipted(
                    f"the signal is over; {self.keeper.backlog} records are not receipted yet and "
                    f"stay in {self._folder / FILE_NAME}: look after broker and gateway, then run "
                    "this again"
                )

    def look(self) -> None:
        """One look at the threads: raises what ended one, feeds the watchdog where all is well."""
        for thread in (self.keeper, self._feeder, self._uplink):
            if thread is not None and thread.failure is not None:
                raise thread.failure
        pulse, now_ns = self._pulse(), steady_ns()
        if name := silent_thread(pulse, now_ns):
            raise ThreadSilent(f"the thread '{name}' shows no life; the daemon is to be restarted")
        if deserves_feeding(pulse, now_ns):
            notify("WATCHDOG=1")

    def _pulse(self) -> Pulse:
        if self.keeper.samples != self._seen[0]:
            self._seen = (self.keeper.samples, steady_ns())
        return Pulse(
            source_ns=self._life.alive_ns,
            keeper_ns=self.keeper.alive_ns,
            committed_ns=self.keeper.committed_ns,
            samples_ns=self._seen[1],
            uplink_ns=None if self._uplink is None else self._uplink.alive_ns,
            silence=self.source.silence(),
            over=self.keeper.over.is_set(),
        )

    def stop(self) -> None:
        """Ends in the order of the data: source, last commit, network, file."""
        notify("STOPPING=1")
        self.asked_to_stop.set()
        if self._feeder is not None and self._feeder.join(END_S_MAX):
            self.keeper.over.wait(END_S_MAX)
        if self._uplink is not None:
            self._uplink.stop(END_S_MAX)
        self._inbox.put_request(Close())
        self.keeper.join(END_S_MAX)
        self.source.close()


def run_daemon(path: Path, *, clock_file: Path | None, signal_s: float | None) -> int:
    """`seafret-edge run`: the exit code; raises every fault for the one line that it becomes."""
    settings, clock = read_settings(path), read_clock(clock_file)
    logging.basicConfig(level=logging.INFO, format="%(levelname)s %(message)s", stream=sys.stderr)
    made_folder(settings, path.parent)
    daemon = Daemon(settings, path.parent, clock, signal_s)
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda *_: daemon.asked_to_stop.set())
    try:
        daemon.start()
        print(_greeting(settings, daemon), flush=True)
        notify("READY=1")
        daemon.wait()
    finally:
        daemon.stop()
    if daemon.keeper.failure is not None:
        raise daemon.keeper.failure
    if daemon.source.cut:
        print(f"cut short: {daemon.source.cut}; all that was there is kept", file=sys.stderr)
        return Exit.WRONG_USE
    return Exit.FINE


def _greeting(settings: Settings, daemon: Daemon) -> str:
    broker = settings.broker
    to = "no broker is set: it keeps, and sends nothing"
    if broker is not None:
        to = f"sends to {broker.host}:{broker.port}"
    description = daemon.source.description
    return (
        f"{settings.unit.id} runs: {len(settings.insulator)} insulators, "
        f"{len(description.channels)} channels at {description.rate_hz:g} Hz from "
        f"{settings.source.kind}; epoch {daemon.keeper.epoch}; {to}"
    )
