"""What the flash of a unit wears: bytes that reach the device, by row and by year, as shipped.

Four insulators with weather and health, committed as the daemon commits them, on an ext4 file
system of its own in a file (as root; else only what the process says of itself). Counted are the
sectors that the device was given (/sys/block/*/stat, field 7, of 512 bytes): the database, its log,
the file system's journal and inodes. What was left in the kernel's cache is written out after each
minute, as it would be by then. `process` is write_bytes of /proc/self/io over the same minutes: it
does not know of the journal. A flash translates these writes into more of its own; by how much only
its maker can say.
"""

from __future__ import annotations

import ctypes
import os
import random
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path

from edge import pipeline
from edge.daemon.carrying import Carried
from edge.daemon.heartbeat import Heart
from edge.daemon.resuming import Kept, kept_plain
from edge.daemon.storing import Store
from edge.decide.alarm_table import DEFAULT_ALARMS
from edge.decide.binding import WatchedInsulator, bind
from edge.keep import DurableFile, Stamp, merging
from edge.measure.plan import plan_from_description
from edge.quantities import State
from edge.records import ConditionChange, IntervalRow, Record
from edge.samples import Channel, ChannelKind, SignalDescription
from tests.bench.timing import Figure, figure
from tests.gateway.build import MINUTE_US, START_US, UNIT, health, interval, weather

PART = "wear"
INSULATORS = 4
QUOTA_BYTES = 200_000_000
DISK_BYTES = 512 * 1024 * 1024
SECTOR_BYTES = 512
SECOND_NS = 1_000_000_000
MINUTES_A_YEAR = 365.25 * 1440

DRY: dict[str, object] = {"state": State.DRY, "state_us": (MINUTE_US, 0, 0, 0, 0, 0)}
WET: dict[str, object] = {"state": State.WET, "state_us": (0, MINUTE_US, 0, 0, 0, 0)}
NO_ARCS: dict[str, object] = {"arcing_halfcycles": 0, "arcing_positive": 0, "arcing_negative": 0}


@dataclass(frozen=True, slots=True)
class Disk:
    """A folder, and the device below it. device: its name, "" where nobody counts."""

    folder: Path
    device: str

    def settle(self) -> None:
        """Let the kernel write what waits, as it does within half a minute."""
        descriptor = os.open(self.folder, os.O_RDONLY)
        ctypes.CDLL(None).syncfs(descriptor)
        os.close(descriptor)

    def device_bytes(self) -> int:
        stat = Path(f"/sys/block/{self.device}/stat").read_text().split()
        return int(stat[6]) * SECTOR_BYTES

    def process_bytes(self) -> int:
        lines = Path("/proc/self/io").read_text().splitlines()
        return next(int(line.split()[1]) for line in lines if line.startswith("write_bytes"))


@contextmanager
def disk(folder: Path) -> Iterator[Disk]:
    """A file system of its own where this process may mount one."""
    if os.geteuid() != 0:
        yield Disk(folder, "")
        return
    image, mounted = folder / "disk.img", folder / "disk"
    mounted.mkdir()
    with image.open("wb") as blank:
        blank.truncate(DISK_BYTES)
    _run("mkfs.ext4", "-q", "-F", str(image))
    _run("mount", "-o", "loop,noatime", str(image), str(mounted))
    try:
        yield Disk(mounted, Path(_run("findmnt", "-n", "-o", "SOURCE", str(mounted))).name)
    finally:
        _run("umount", str(mounted))


def _run(*command: str) -> str:
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout.strip()


@dataclass(slots=True)
class Unit:
    """The daemon's keeper without its signal: rows in, commits when they are due.

    now_ns: a steady time that the bench moves; random: the digits of the rows.
    """

    store: Store
    carried: Carried
    clock: list[int]
    random: random.Random
    commits: int = 0
    rows: int = 0
    heart: Heart = field(default_factory=lambda: Heart(start_us=START_US))

    def minute(self, number: int, surface: dict[str, object]) -> None:
        """A minute's records, each when it comes: its health, its rows, and the weather."""
        began = number * 60 * SECOND_NS
        self._until(began + 300_000_000)
        self._take((health(number, noise_na={f"A{n}": 4_000 for n in range(INSULATORS)}),))
        self._until(began + 1_300_000_000)
        self._take(tuple(self._row(number, f"A{n}", surface) for n in range(INSULATORS)))
        self._until(began + 20_000_000_000)
        self._take((weather(number, rh_cpct=self.random.randrange(9_000)),))
        self._until(began + 59_000_000_000)

    def _row(self, number: int, insulator: str, surface: dict[str, object]) -> IntervalRow:
        """Digits as a measured row has them, so that it does not compress better than one."""
        spread = {
            name: self.random.randrange(low, 2 * low)
            for name, low in (
                *(("peak_ua", 90_000), ("rms_na", 3_000_000), ("h1_na", 2_900_000)),
                *(("h2_ppm", 1_000), ("h3_ppm", 100_000), ("h3_cdeg", 9_000), ("h5_ppm", 20_000)),
                *(("in_phase_na", 900_000), ("quadrature_na", 900_000), ("mean_na", 200)),
            )
        }
        pairs = {
            name: (self.random.randrange(10**9), self.random.randrange(10**9))
            for name in ("charge_nc", "i2t_pa2s", "energy_uj")
        }
        flags: dict[str, object] = {"flags": (), "arc_pulses": (0, 0, 0, 0, 0)}
        return interval(number, insulator, **{**spread, **pairs, **NO_ARCS, **flags, **surface})

    def _take(self, records: tuple[pipeline.Decided, ...]) -> None:
        """As the daemon's steps take them: decided on, and dry minutes held back to be merged."""
        state, outputs = pipeline.decided(self.carried.pipeline, records, ())
        kept, ready = self.carried.merging, list[Record]()
        quiet = not any(isinstance(one, ConditionChange) for one in outputs.records)
        for record in outputs.records:
            if isinstance(record, IntervalRow):
                kept, rows = merging.step(kept, record, quiet)
                ready += rows
            else:
                ready.append(record)
        self.carried = replace(self.carried, pipeline=state, merging=kept)
        self.rows += len(ready)
        self.store.add(ready)

    def _until(self, ns: int) -> None:
        """Time passes; what becomes due is committed."""
        while (due_s := self.store.wait_s()) is not None:
            due_ns = self.clock[0] + round(due_s * SECOND_NS)
            if due_ns > ns:
                break
            self.clock[0] = due_ns
            self.store.commit(kept_plain(Kept(self.carried, self.heart, 0, START_US), ""))
            self.commits += 1
        self.clock[0] = ns


def unit_on(folder: Path, seed: int) -> Unit:
    """A unit whose file is new, its insulators calm."""
    names = [f"A{n}" for n in range(INSULATORS)]
    channels = tuple(Channel(name, ChannelKind.CURRENT) for name in names)
    description = SignalDescription(4_800.0, 50.0, channels)
    watched = [WatchedInsulator(id=name) for name in names]
    plan = bind(DEFAULT_ALARMS, watched, "bench", description.rate_hz)
    state = pipeline.initial(plan_from_description(description), plan, description)
    clock = [0]

    def stamp() -> Stamp:
        return Stamp("boot-1", "ntp", clock[0], START_US + clock[0] // 1000)

    def open_file() -> DurableFile:
        return DurableFile(folder / "outbox.sqlite", UNIT, stamp(), quota_bytes=QUOTA_BYTES)

    store = Store(open_file, stamp, lambda: clock[0])
    return Unit(store, Carried(pipeline=state), clock, random.Random(seed))


def wear_of(
    disk: Disk, surface: dict[str, object], minutes: int, seed: int = 0
) -> dict[str, float]:
    """Bytes and counts of so many minutes after the first ten."""
    unit = unit_on(disk.folder, seed)
    for number in range(10):
        unit.minute(number, surface)
    disk.settle()
    device = disk.device_bytes() if disk.device else 0
    process, rows, commits = disk.process_bytes(), unit.rows, unit.commits
    for number in range(10, 10 + minutes):
        unit.minute(number, surface)
        disk.settle()
    device_bytes = disk.device_bytes() - device if disk.device else 0
    process_bytes = disk.process_bytes() - process
    found = {"rows": unit.rows - rows, "commits": unit.commits - commits}
    unit.store.close()
    return {**found, "device_bytes": device_bytes, "process_bytes": process_bytes}


def wear(folder: Path, minutes: int, rounds: int) -> list[Figure]:
    """KiB a row and GB a year at the device, for a dry and a wet site."""
    figures: list[Figure] = []
    for name, surface in (("dry", DRY), ("wet", WET)):
        runs = []
        for number in range(rounds):
            inside = folder / f"{name}-{number}"
            inside.mkdir()
            with disk(inside) as there:
                runs.append(wear_of(there, surface, minutes, number))
        for told in ("device", "process"):
            of_all = [run[f"{told}_bytes"] for run in runs]
            if told == "device" and not all(of_all):
                continue
            row = [each / run["rows"] / 1024 for each, run in zip(of_all, runs, strict=True)]
            year = [each / minutes * MINUTES_A_YEAR / 1e9 for each in of_all]
            figures.append(figure(PART, f"{told}, a row, {name}", "KiB", row))
            figures.append(figure(PART, f"{told}, a year, {name}", "GB", year))
        per_minute = [run["commits"] / minutes for run in runs]
        figures.append(figure(PART, f"commits a minute, {name}", "", per_minute))
    return figures
