"""A unit under commissioning: sensors on a pseudo-terminal, broker, gateway, and a person.

The signal runs `RATE` times as fast as life, and so do the clocks of unit and gateway.
"""

from __future__ import annotations

import json
import os
import select
import signal
import subprocess
import sys
import threading
import tty
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from edge.clock import Clock
from edge.commissioning.asking import Place, Question
from edge.samples import Channel, ChannelKind, SampleBlock, SignalDescription
from edge.sense import link_player
from tests.broker import Broker

ROOT = Path(__file__).parents[3]
RATE = 40.0
RATE_HZ = 4_800
ROWS = 480
FULL_SCALE_MA = 150.0
ABOVE_MA = 127.0
MA_A_CODE, KV_A_CODE = FULL_SCALE_MA / 32_767, 0.001
DRY_MA, DRY_DEG = 0.1, 88.0
PLATE = "GS-7"
CREST_KV = 15.0


@dataclass(frozen=True)
class Line:
    """What the sensor sees. injected_ma: r.m.s., of it a share is collected. gain: of the sensor
    against what the settings believe. turned: its leads are swapped."""

    energised: bool = False
    injected_ma: float = 0.0
    collected: float = 1.0
    gain: float = 1.0
    turned: bool = False
    lead_on: bool = True
    noise_ma: float = 0.004


class Sensors:
    """A sensor unit that sends for ever. line: may be changed at any time. sending: the data lead
    is on. boot: of its firmware; a new one is a supply that failed."""

    def __init__(self, port: Path) -> None:
        self.port = port
        self.line, self.sending, self.boot = Line(), True, 5
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)
        os.set_blocking(self._master, False)
        port.symlink_to(os.ttyname(self._slave))
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def close(self) -> None:
        self._over.set()
        self._thread.join()
        os.close(self._slave)
        os.close(self._master)

    def _run(self) -> None:
        dice, counter, player, boot = np.random.default_rng(3), 0, _player(self.boot), self.boot
        while not self._over.wait(ROWS / RATE_HZ / RATE):
            if boot != self.boot:
                boot, counter, player = self.boot, 0, _player(self.boot)
            if self.sending:
                codes = _codes(self.line, counter, dice)
                player, sent = link_player.step(player, SampleBlock(counter, codes))
                counter += ROWS
                self._write(sent)
            self._hear()

    def _write(self, sent: bytes) -> None:
        while sent and not self._over.is_set():
            _, ready, _ = select.select([], [self._master], [], 0.05)
            if ready:
                try:
                    sent = sent[os.write(self._master, sent) :]
                except BlockingIOError:
                    continue
            self._hear()

    def _hear(self) -> None:
        """What a host says to the sensor unit is passed over."""
        try:
            os.read(self._master, 4096)
        except BlockingIOError:
            return


def _player(boot: int) -> link_player.Player:
    channels = (
        Channel("post", ChannelKind.CURRENT, "A", MA_A_CODE, 0.0, -32_768.0, 32_767.0),
        Channel("UA", ChannelKind.VOLTAGE, "A", KV_A_CODE),
    )
    return link_player.player_of(SignalDescription(RATE_HZ, 50.0, channels), boot, frame_rows=ROWS)


def _codes(line: Line, counter: int, dice: np.random.Generator) -> np.ndarray:
    theta = 2 * np.pi * 50 * (counter + np.arange(ROWS)) / RATE_HZ
    dry_ma = DRY_MA if line.energised and line.lead_on else 0.0
    current = dry_ma * np.sin(theta + np.radians(DRY_DEG))
    current = current + line.injected_ma * line.collected * np.sin(theta)
    current = line.gain * (-1 if line.turned else 1) * np.sqrt(2) * current
    current = current + dice.normal(0.0, line.noise_ma, ROWS)
    kv = CREST_KV * np.sin(theta) if line.energised else dice.normal(0.0, 0.002, ROWS)
    codes = np.stack([current / MA_A_CODE, kv / KV_A_CODE], axis=1)
    return np.clip(np.rint(codes), -32_768, 32_767).astype(np.int16)


def settings_text(folder: Path, broker_port: int, dry: bool = True) -> str:
    calibrated = f"dry_ma = {DRY_MA}\ndry_deg = {DRY_DEG}\ndry_spread_ma = 0.003" if dry else ""
    return f"""
[unit]
id = "gannet-stack.pole-7"
[site]
name = "Gannet Stack"
nominal_hz = 50
coast_bearing_deg = 250
[source]
kind = "link"
port = "{folder / "port"}"
voltage_channel = "UA"
[store]
folder = "data"
quota_mb = 16
[broker]
host = "127.0.0.1"
port = {broker_port}
[[insulator]]
id = "{PLATE}"
type = "composite"
profile = "line post"
voltage_class_kv = 24
creepage_mm = 600
arcing_distance_mm = 250
creepage_basis = "phase-phase"
phase = "A"
sensor_place = "collector ring above the end fitting"
ranges = [{{ channel = "post", full_scale_ma = {FULL_SCALE_MA} }}]
[[insulator.calibrations]]
id = "bench"
valid_from = 2026-01-01T00:00:00Z
{calibrated}
"""


def fast_clock() -> dict[str, float]:
    real_us = Clock().utc_us()
    return {"rate": RATE, "real_origin_us": real_us, "shown_origin_us": real_us}


@contextmanager
def gateway(
    folder: Path, broker_port: int, port: int, clock: Mapping[str, float]
) -> Iterator[Callable[[], None]]:
    """`seafret serve` for the unit, by the same clock; what it yields waits until it is ready."""
    origins = "\n".join(f"{key} = {figure}" for key, figure in clock.items())
    text = f"""
data = "history"
[broker]
port = {broker_port}
[console]
port = {port}
[clock]
{origins}
[sites.gannet-stack.units.pole-7]
insulators = ["{PLATE}"]
"""
    (folder / "gateway.toml").write_text(text)
    process = subprocess.Popen(
        [sys.executable, "-m", "gateway", "serve", "--settings", str(folder / "gateway.toml")],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=ROOT,
    )
    assert process.stdout is not None and process.stderr is not None
    said, told = process.stdout, process.stderr
    drain = threading.Thread(target=told.read, daemon=True)

    def ready() -> None:
        line = said.readline()
        assert line.startswith("gateway ready"), line + told.read()
        drain.start()

    try:
        yield ready
    finally:
        process.send_signal(signal.SIGTERM)
        process.wait(20)
        if drain.is_alive():
            drain.join()
        said.close()
        told.close()


ANSWERS: dict[str, str] = {
    "fitter": "R. Dunlin",
    "witness": "K. Sanderling",
    "ammeter": "bench ammeter 4711",
    "ammeter_calibrated": "2026-05-04",
    "ammeter_due": "2028-05-04",
    "conductivity_meter": "pen meter 12",
    "conductivity_meter_calibrated": "2026-05-04",
    "conductivity_meter_due": "2028-05-04",
    "plate": PLATE,
    "conductivity_ms_cm": "5",
    "seen_alarm": "over-range",
    "seen_by": "M. Tern",
}


@dataclass
class Worker:
    """Does by hand what the steps ask for, reads the ammeter, and writes down what is shown."""

    sensors: Sensors
    broker: Broker
    gateway_ready: Callable[[], None] = lambda: None
    answers: dict[str, str] = field(default_factory=lambda: dict(ANSWERS))
    hands: dict[str, Callable[[], None]] = field(default_factory=dict)
    shown: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        line = self.change
        self.hands = {
            "Make sure that no current": lambda: line(injected_ma=0.0, energised=False),
            "a fifth above the full scale, for": lambda: line(injected_ma=ABOVE_MA),
            "inject onto a band of foil": lambda: line(injected_ma=8.0),
            "Spray ring": lambda: line(collected=0.95),
            "take the collector lead off": lambda: line(lead_on=False),
            "Put the lead back": lambda: line(lead_on=True),
            "Pull the data lead": lambda: self.send(False),
            "Put the data lead back": lambda: self.send(True),
            "Switch the unit's supply off": lambda: self.send(False),
            "Switch the supply on again": lambda: self.send(True, restarted=True),
            "Take the uplink away": self.broker.stop,
            "Put the uplink back": self.broker.start,
            "Make an alarm": lambda: line(injected_ma=ABOVE_MA),
            "Take the injection away": lambda: line(injected_ma=0.0),
        } | self.hands

    def change(self, **changed: float | bool) -> None:
        self.sensors.line = replace(self.sensors.line, **changed)  # type: ignore[arg-type]

    def send(self, on: bool, restarted: bool = False) -> None:
        self.sensors.boot += restarted
        self.sensors.sending = on

    def wants(self, place: Place) -> bool:
        live = ("polarity", "dry-phasor", "lead-off", "alarm")
        if place.step in live:
            self.change(energised=True, injected_ma=0.0, collected=1.0)
        if place.step == "link":
            self.gateway_ready()
        return True

    def ask(self, place: Place, question: Question) -> str:
        if question.key.startswith("injected"):
            return repr(self.sensors.line.injected_ma)
        return self.answers.get(question.key, "")

    def act(self, place: Place, words: str) -> bool:
        self.tell(words)
        if words.startswith("Point "):
            self.change(injected_ma=float(words.partition("about ")[2].split()[0]))
            return True
        (do,) = [hand for start, hand in self.hands.items() if start in words]
        do()
        return True

    def tell(self, words: str) -> None:
        self.shown.append(words)


def written(folder: Path, name: str) -> dict[str, object]:
    plain: dict[str, object] = json.loads((folder / "data" / name).read_text())
    return plain
